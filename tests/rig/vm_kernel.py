"""The kernel of the virtual machines: Debian's own, fetched once, taken apart for a quick start."""

import lzma
import re
import struct
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from verify.testing.rigs import missing, require_program


def unpack_kernel(cache: Path, folder: Path) -> None:
    """Unpack the kernel's package, from the cache or fetched into it, into a new folder."""
    package = _kernel_package(cache)
    subprocess.run([require_program("dpkg"), "-x", str(package), str(folder)], check=True)


def _kernel_package(cache: Path) -> Path:
    """Return Debian's own kernel as a package file, fetched once."""
    if kept := sorted(cache.glob("linux-image-*.deb")):
        return kept[-1]
    cache.mkdir(parents=True, exist_ok=True)
    named = subprocess.run(
        [require_program("apt-cache"), "depends", "linux-image-amd64"],
        capture_output=True,
        text=True,
        check=False,
    )
    found = re.search(r"Depends: (linux-image-\S+-amd64)$", named.stdout, re.MULTILINE)
    if found is None:
        missing("No package list names a kernel (apt-get update)")
    # Two rigs may fetch at the same time.
    with tempfile.TemporaryDirectory(prefix="fetching-", dir=cache) as fetching:
        got = subprocess.run(
            [require_program("apt-get"), "download", "-q", found[1]],
            cwd=fetching,
            capture_output=True,
            check=False,
        )
        packages = list(Path(fetching).glob("linux-image-*.deb"))
        if got.returncode != 0 or not packages:
            missing(f"{found[1]} cannot be fetched")
        return packages[0].replace(cache / packages[0].name)


def quick_to_load(kernel: Path, folder: Path) -> Path:
    """Unpack the image, which takes the emulated processor seconds; leave it where it is packed otherwise.

    Source: Linux Documentation/arch/x86/boot.rst, fields setup_sects, payload_offset, payload_length.
    """
    image = next((kernel / "boot").glob("vmlinuz-*"))
    data = image.read_bytes()
    offset, length = struct.unpack_from("<II", data, 0x248)
    start = ((data[0x1F1] or 4) + 1) * 512 + offset
    if not data.startswith(b"\xfd7zXZ", start):
        return image
    unpacked = folder / "kernel"
    unpacked.write_bytes(lzma.LZMADecompressor().decompress(data[start : start + length]))
    return unpacked


def modules(kernel: Path, wanted: Iterable[str]) -> Iterator[tuple[str, bytes]]:
    """Return the kernel modules, by file name, and the order in which they are put in."""
    found = {
        re.sub("-", "_", path.name.split(".ko")[0]): path for path in (kernel / "lib/modules").rglob("*.ko*")
    }
    order: dict[str, bytes] = {}

    def put(name: str) -> None:
        if name in order or name not in found:  # one that is built in has no file
            return
        data = found[name].read_bytes()
        if found[name].suffix == ".xz":
            data = lzma.decompress(data)
        needs = re.search(rb"\0depends=([a-z0-9A-Z_,-]*)\0", data)
        for other in (needs[1].decode() if needs else "").split(","):
            put(other.replace("-", "_"))
        order[name] = data

    for name in wanted:
        put(name)
    for name, data in order.items():
        yield f"{name}.ko", data
    yield "order", " ".join(f"{name}.ko" for name in order).encode()
