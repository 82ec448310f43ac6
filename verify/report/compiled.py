"""Templates compiled once, kept where Python keeps its modules' compiled form: in `__pycache__` beside them.

To compile the page's template takes longer than all that proving a report needs besides. As with a `.pyc`:
what is out of date or damaged is passed over and made anew, a folder that cannot be written is no error, and
`python -B` writes nothing. Whoever can change these files can change the program itself.
"""

import contextlib
import hashlib
import os
import sys
from functools import cache
from importlib.util import cache_from_source
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket, BytecodeCache

from verify.record import visible

_TEMPLATES = Path(__file__).with_name("templates")


class CompiledBeside(BytecodeCache):
    """Keeps each template's compiled form as a hash and what it is of.

    The hash is over the state of the program, too: a filter's result may stand in the compiled form.
    """

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill the bucket where a whole compiled form of this very program is kept."""
        try:
            data = _place(bucket).read_bytes()
        except OSError:
            return
        if data[:32] == _hash(data[32:]):
            bucket.bytecode_from_string(data[32:])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep the compiled form, if that can be done."""
        if sys.dont_write_bytecode:
            return
        body = bucket.bytecode_to_string()
        place = _place(bucket)
        beside = place.with_name(f"{place.name}.{os.getpid()}")
        with contextlib.suppress(OSError):
            place.parent.mkdir(parents=True, exist_ok=True)
            beside.write_bytes(_hash(body) + body)
            beside.replace(place)


def _place(bucket: Bucket) -> Path:
    # The key is jinja's own, a hash of the template's name.
    return Path(cache_from_source(str(_TEMPLATES / f"{bucket.key}.py")))


def _hash(body: bytes) -> bytes:
    return hashlib.sha256(_program() + body).digest()


@cache
def _program() -> bytes:
    """Return what tells this state of the program from another, as Python does: by times and sizes."""
    sources = [*sorted(Path(__file__).parent.rglob("*.py")), Path(visible.__file__)]
    states = [(source.name, source.stat().st_mtime_ns, source.stat().st_size) for source in sources]
    return repr((jinja2.__version__, states)).encode()
