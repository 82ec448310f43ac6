"""Build and start a virtual machine: a real kernel, the tool, an ACPI battery.

Everything is put into one initial RAM disk: the kernel's own modules, this Python with what the tool needs
(compiled, without sources), and what the guest runs. Nothing is installed; no administrator is needed.
The processor is emulated, so that idle time can be skipped; no virtualisation of the host is used.
"""

import importlib.metadata
import importlib.util
import os
import py_compile
import re
import stat
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path

import msgspec

from tests.rig.vm_kernel import modules, quick_to_load
from verify.testing.rigs import require_program

_HERE = Path(__file__).parent
_SOURCE = _HERE.parents[1]

STICK = "/media/Stück 1"
"""Where the state disk is mounted: a name with a blank and a letter beyond ASCII."""

_MODULES = ("virtio_pci", "virtio_blk", "ext4", "crc32c_generic", "vfat", "nls_cp437", "nls_ascii")
_LAPTOP_MODULES = ("ac", "button", "battery")
_APPLETS = ("sh", "mount", "umount", "mkdir", "cat", "sed", "insmod", "poweroff", "echo")
# Of the standard library, what no run of the tool imports.
_LEFT_OUT = frozenset(
    (
        *("test", "tests", "idlelib", "tkinter", "turtledemo", "ensurepip", "lib2to3", "site-packages"),
        *("__pycache__", "pydoc_data", "distutils", "unittest", "venv", "wsgiref", "xmlrpc", "sqlite3"),
        *("curses", "dbm", "msilib", "dist-packages"),
    )
)
_NOT_NEEDED = frozenset({"cryptography", "cffi", "pycparser", "joserfc", "pillow"})


_File = tuple[bytes, int]  # content, mode


class Guest(msgspec.Struct, frozen=True, kw_only=True):
    """What a machine is and does.

    laptop: its battery, charger and thermal zone. modules: of the kernel, besides those for battery and
    charger. scripts: beside this file; the first one is run, with the state disk's folder. files: what they
    read, in a folder of their own.
    """

    laptop: str
    modules: tuple[str, ...] = ()
    scripts: tuple[str, ...]
    files: Mapping[str, bytes] = {}


class Parts(msgspec.Struct, frozen=True, kw_only=True):
    """What the emulator is started with."""

    kernel: Path
    initial_ram: Path
    laptop: Path


def build(folder: Path, kernel: Path, guest: Guest) -> Parts:
    """Build the machine in an empty folder. kernel: an unpacked kernel package."""
    laptop = _compile_laptop(_HERE / guest.laptop, folder)
    image = quick_to_load(kernel, folder)
    files = dict(_guest_files(folder))
    for name, data in modules(kernel, (*_MODULES, *_LAPTOP_MODULES, *guest.modules)):
        files[f"modules/{name}"] = (data, 0o644)
    for script in guest.scripts:
        files[f"site/tests/rig/{script}"] = ((_HERE / script).read_bytes(), 0o644)
    files["rig/run"] = (Path(guest.scripts[0]).stem.encode(), 0o644)
    files["rig/stick"] = (STICK.encode(), 0o644)
    for name, data in guest.files.items():
        files[f"rig/{name}"] = (data, 0o644)
    initial_ram = folder / "initial-ram.cpio"
    with initial_ram.open("wb") as file:
        file.writelines(_archive(files))
    return Parts(kernel=image, initial_ram=initial_ram, laptop=laptop)


def _compile_laptop(source: Path, folder: Path) -> Path:
    prefix = folder / "laptop"
    said = subprocess.run(
        [require_program("iasl"), "-p", str(prefix), str(source)],
        capture_output=True,
        text=True,
        check=False,
    )
    table = prefix.with_suffix(".aml")
    # The compiler may end with 0 in spite of errors.
    assert table.exists(), said.stdout + said.stderr
    return table


def _guest_files(folder: Path) -> Iterator[tuple[str, _File]]:
    yield "init", ((_HERE / "vm_init.sh").read_bytes(), 0o755)
    busybox = Path(require_program("busybox")).resolve()
    yield "bin/busybox", (busybox.read_bytes(), 0o755)
    for applet in _APPLETS:
        yield f"bin/{applet}", (b"busybox", stat.S_IFLNK)
    yield from _python(folder)


def _python(folder: Path) -> Iterator[tuple[str, _File]]:
    library = Path(os.__file__).parent
    executable = Path(sys.executable).resolve()
    binaries = [executable]
    yield "python/bin/python3", (executable.read_bytes(), 0o755)
    within = f"python/lib/{library.name}"
    trees = [(library, within), (_SOURCE / "verify", "site/verify")]
    site = Path(msgspec.__file__).parents[1]
    for package in sorted(_packages("handback")):
        trees += [(entry, f"site/{entry.name}") for entry in _top_level(package, site)]
    for tree, to in trees:
        for path in _walk(tree):
            name = to if path == tree else f"{to}/{path.relative_to(tree)}"
            if path.suffix == ".py":
                yield str(Path(name).with_suffix(".pyc")), (_compiled(path, folder), 0o644)
            else:
                yield name, (path.read_bytes(), 0o644)
                if ".so" in path.suffixes:
                    binaries.append(path)
    for path in sorted((_SOURCE / "checklists").glob("*.yaml")):
        # Full load is no idle time that could be skipped: it would take the emulator minutes.
        text = re.sub(r"(?m)^ +options: \{load: [^}]*\}\n", "", path.read_text(encoding="utf-8"))
        # And a plug that is pulled while it runs on its battery is what that check is for: it would be right.
        text = re.sub(r"(?ms)^  - id: holds-under-load\n.*?(?=^  - id: )", "", text)
        yield f"site/checklists/{path.name}", (text.encode(), 0o644)
    for path in _libraries(binaries):
        yield str(path).lstrip("/"), (path.read_bytes(), 0o755)


def _walk(tree: Path) -> Iterator[Path]:
    if tree.is_file():
        yield tree
        return
    for folder, names, files in os.walk(tree):
        names[:] = sorted(name for name in names if name not in _LEFT_OUT and not name.startswith("config-"))
        for file in sorted(files):
            if not file.startswith(("_test", "_ctypes_test", "_tkinter", "_sqlite3", "_curses")):
                yield Path(folder) / file


def _packages(name: str) -> set[str]:
    """Return the distributions that one needs at run time, without the ones that no run imports."""
    needs: set[str] = set()
    for line in importlib.metadata.requires(name) or ():
        other = re.split(r"[^A-Za-z0-9._-]", line)[0].lower()
        if "extra ==" in line or other in needs or other in _NOT_NEEDED:
            continue
        try:
            needs |= {other, *_packages(other)}
        except importlib.metadata.PackageNotFoundError:
            continue  # for another system
    return needs


def _top_level(package: str, site: Path) -> set[Path]:
    entries = {Path(str(file)).parts[0] for file in importlib.metadata.files(package) or ()}
    return {
        site / entry
        for entry in entries
        if entry not in ("..", "__pycache__") and not entry.endswith((".dist-info", ".pth"))
    }


def _compiled(path: Path, folder: Path) -> bytes:
    """Return a module compiled: what lies in the cache beside it where that is of this source."""
    cached = Path(importlib.util.cache_from_source(str(path)))
    if cached.exists():
        data, source = cached.read_bytes(), path.stat()
        stamp = (int(source.st_mtime) & 0xFFFFFFFF).to_bytes(4, "little")
        if data[4:16] == bytes(4) + stamp + (source.st_size & 0xFFFFFFFF).to_bytes(4, "little"):
            return data
    made = folder / "module.pyc"
    py_compile.compile(str(path), cfile=str(made), dfile=path.name, doraise=False, quiet=2)
    return made.read_bytes()


def _libraries(binaries: Iterable[Path]) -> set[Path]:
    """Return the shared libraries that the binaries load."""
    said = subprocess.run(
        [require_program("ldd"), *map(str, binaries)], capture_output=True, text=True, check=False
    ).stdout
    found = {Path(path) for path in re.findall(r"(?:=> |^\s+)(/\S+) \(", said, re.MULTILINE)}
    # Loaded late: a thread that outlives the interpreter ends by it.
    return found | {beside for path in found if (beside := path.with_name("libgcc_s.so.1")).exists()}


def _archive(files: Mapping[str, _File]) -> Iterator[bytes]:
    """Write a "newc" archive (Linux Documentation/driver-api/early-userspace/buffer-format.rst)."""
    folders = {str(parent) for name in files for parent in Path(name).parents} - {"."}
    entries: dict[str, _File] = dict.fromkeys(
        (*sorted(folders), "proc", "sys", "dev"), (b"", stat.S_IFDIR | 0o755)
    )
    entries |= files
    entries["TRAILER!!!"] = (b"", 0)
    for number, (name, (data, bits)) in enumerate(entries.items(), start=1):
        mode = bits if stat.S_IFMT(bits) else bits | stat.S_IFREG
        encoded = name.encode() + b"\0"
        fields = (number, mode, 0, 0, 1, 0, len(data), 0, 0, 0, 0, len(encoded), 0)
        head = b"070701" + b"".join(b"%08X" % field for field in fields) + encoded
        yield head + bytes(-len(head) % 4) + data + bytes(-len(data) % 4)


def emulator(parts: Parts, *, words: str, clock: datetime, console: Path) -> list[str]:
    """Return the emulator's command line, without a disk.

    It tells what the guest tells on its standard output.
    words: for the guest, on the kernel's command line. clock: its wall clock, UTC. console: takes what the
    guest prints.
    """
    kernel_words = (
        "console=ttyS0 quiet panic=-1 random.trust_cpu=on tsc=reliable no_timer_check mitigations=off "
        f"nokaslr {words} PYTHONHOME=/python PYTHONPATH=/site"
    )
    return [
        require_program("qemu-system-x86_64"),
        *("-nodefaults", "-no-user-config", "-display", "none", "-no-reboot"),
        *("-machine", "pc,accel=tcg", "-cpu", "qemu64,+rdrand,-hypervisor", "-m", "384", "-smp", "1"),
        # Idle time is skipped, and all clocks of the guest agree about it.
        *("-icount", "shift=2,sleep=off", "-rtc", f"base={clock:%Y-%m-%dT%H:%M:%S},clock=vm"),
        *("-kernel", str(parts.kernel), "-initrd", str(parts.initial_ram), "-append", kernel_words),
        *("-acpitable", f"file={parts.laptop}"),
        *("-smbios", "type=1,manufacturer=Fennel,product=Larkspur 13,serial=RIG-13"),
        *("-device", "pc-testdev"),
        *("-chardev", "stdio,id=told,signal=off", "-device", "isa-debugcon,iobase=0xe9,chardev=told"),
        *("-serial", f"file:{console}"),
    ]


class Start(msgspec.Struct, frozen=True, kw_only=True):
    """How the machine of the power cuts stands when it is switched on.

    held_mwh: what its pack holds. charger_in: whether the charger is in. clock: its wall clock, UTC.
    alone: the kernel writes nothing back by itself, so that the log shows the order of the run alone.
    """

    held_mwh: int
    charger_in: bool
    clock: datetime
    alone: bool = False


def command(parts: Parts, start: Start, *, disk: Path, kind: str, log: Path, console: Path) -> list[str]:
    """Return the command line with a state disk of this kind. log: an empty file that takes every write."""
    words = (
        f"rig_disk={kind} rig_held={start.held_mwh // 10} rig_charger={int(start.charger_in)} "
        f"rig_alone={int(start.alone)}"
    )
    return [
        *emulator(parts, words=words, clock=start.clock, console=console),
        # Flushes are logged, and go no further: this computer keeps its power, and guest time runs away while
        # the emulator waits for a real drive.
        *("-blockdev", f"driver=file,node-name=image,filename={disk},cache.no-flush=on"),
        *("-blockdev", f"driver=file,node-name=writes,filename={log},cache.no-flush=on"),
        *("-blockdev", "driver=blklogwrites,node-name=disk,file=image,log=writes"),
        *("-device", "virtio-blk-pci,drive=disk"),
    ]
