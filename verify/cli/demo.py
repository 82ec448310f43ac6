"""handback demo: two whole repairs on a simulated machine, one ready and one not."""

from collections.abc import Mapping
from pathlib import Path

import click
import msgspec

from verify.checklist.shop import SHOP_FILE, load_shop
from verify.record.model import Part, Record, Ticket, Work
from verify.run import Owner
from verify.values import VirtualClock

_BENCH = "Bench 2"
_SHOP_FILE = Path(__file__).with_name("demo_shop") / SHOP_FILE


class _Story(msgspec.Struct, frozen=True, kw_only=True):
    """One repair: the ticket, what did not work on arrival, and what is wrong with the machine besides.

    pack_level: how full the battery comes, 0 to 1. Nearly empty, its volts tell the level to a few points:
    then the charge measures its capacity closely, without a drain first. spilt: what a picture on arrival
    shows; empty: none is taken. pictured: what a picture shows that is added to a check, by check.
    """

    ticket: Ticket
    model: str
    came_in_broken: tuple[str, ...]
    faults: Mapping[str, str] = {}
    pack_level: float = 0.35
    spilt: str = ""
    pictured: Mapping[str, str] = {}


_STORIES = (
    _Story(
        model="Larkspur 15",
        came_in_broken=("keys and touchpad", "battery and charger"),
        spilt="As it came in: tea ran through to the base",
        pictured={"pack-fixed": "The battery in its bay, its screws in place"},
        ticket=Ticket(
            id="TW-1042",
            bench=_BENCH,
            maker="Fennel",
            model="Larkspur 15",
            serial="FN-L15-004217",
            complaint="Tea over the keyboard. Keys are dead, and it goes off without the charger.",
            work=(
                Work(kind="keyboard-deck", part=Part(source="used", identity="deck of a donor machine")),
                Work(
                    kind="doubtful-battery",
                    part=Part(source="reproduction", identity="L15-57", label={"energy": "57.0 Wh"}),
                ),
                Work(kind="feet", part=Part(source="reproduction")),
            ),
        ),
    ),
    _Story(
        model="Larkspur 13",
        came_in_broken=("battery and charger",),
        ticket=Ticket(
            id="TW-1057",
            bench=_BENCH,
            maker="Fennel",
            model="Larkspur 13",
            serial="FN-L13-001730",
            complaint="It goes off when I pull the charger out.",
            work=(
                Work(
                    kind="battery",
                    part=Part(source="reproduction", identity="L13-50", label={"energy": "50.0 Wh"}),
                ),
            ),
        ),
        faults={"pack-holds": "31 Wh"},
        pack_level=0.08,
    ),
)


@click.command("demo", epilog="Example: handback demo")
@click.option(
    "--reports",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("reports/demo"),
    show_default=True,
    help="Where the demo's tickets go; a number is added where something lies there already.",
)
def command(reports: Path) -> None:
    """Play two whole repairs on a simulated machine: no battery, no charger, nothing real is touched."""
    folder = _free(reports)
    click.echo("A simulation: nothing real is read, and nothing of it is an acceptance.\n")
    for story in _STORIES:
        _play(story, folder)
    click.echo("Open a report in any browser. See what it takes to believe one:")
    click.echo(f"  handback prove {folder / 'TW-1042' / 'report.html'}")


def _free(folder: Path) -> Path:
    number = 1
    free = folder
    while free.exists() and any(free.iterdir()):
        number += 1
        free = folder.with_name(f"{folder.name}-{number}")
    return free


def _play(story: _Story, reports: Path) -> None:
    from verify.ask.closing import closing_lines
    from verify.ask.drawn import DrawingCamera
    from verify.ask.script import play
    from verify.ask.simulated import SimulatedBench, Truthful
    from verify.checklist.shipped import shipped_checklists, shipped_dir
    from verify.checklist.specimen_files import load_specimens
    from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15
    from verify.run import RunFolder, begin, load_record, ticket_folder

    design = LARKSPUR_15 if story.model == LARKSPUR_15.model else LARKSPUR_13
    bench = SimulatedBench(faults=story.faults, design=design, level=story.pack_level)
    # The sound machine's facts, from which a truthful technician's answers follow.
    sound = load_specimens(shipped_dir() / "doubtful-battery.specimens.yaml")
    # What came in is taken first; what is repaired is said then.
    shop = load_shop(_SHOP_FILE)
    ticket = msgspec.structs.replace(story.ticket, shop=shop.name, work=())
    work = story.ticket.work
    kinds = ", ".join(one.kind for one in work)
    click.echo(f"{ticket.id}  {ticket.maker} {ticket.model}: {kinds}")
    with RunFolder(ticket_folder(reports, ticket.id)) as folder:
        begin(
            folder,
            ticket=ticket,
            checklists=shipped_checklists(shop=_SHOP_FILE),
            clock=bench.clock,
            signers=("technician", "reviewer"),
            shop=shop,
            arriving=True,
        )
        owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
        truth = Truthful(
            sound.facts,
            sound.sees,
            came_in_broken=story.came_in_broken,
            camera=DrawingCamera(folder.path, spilt=story.spilt, at=story.pictured),
        )
        play(owner, truth, bench.sampler, hands=bench)
        owner.add_work(work, shipped_checklists(shop=_SHOP_FILE))
        play(owner, truth, bench.sampler, hands=bench)
        owner.close()
        for line in _told(owner):
            click.echo(f"  {line}")
        record = load_record(reports, ticket.id)
        report = _signed(folder.path, record, bench.clock)
    for line in closing_lines(record):
        click.echo(f"  {line}")
    click.echo(f"  Signed by Demo Technician, then Demo Reviewer. Report: {report}\n")


def _told(owner: Owner) -> list[str]:
    """Tell the run stage by stage: when, how many checks, what was measured."""
    from verify.checklist import Kind

    told = []
    for stage in dict.fromkeys(segment.stage for segment in owner.composition.segments):
        checks = [
            check
            for segment in owner.composition.segments
            if segment.stage == stage
            for check in segment.checks
            if owner.state.current(check.id) is not None
        ]
        if not checks:
            continue
        times = [
            current.at.wall for check in checks if (current := owner.state.current(check.id)) is not None
        ]
        many = "check" if len(checks) == 1 else "checks"
        told.append(f"{min(times):%H:%M} to {max(times):%H:%M}  {stage}: {len(checks)} {many}")
        told += [
            f"                  {check.id}: {current.note}"
            for check in checks
            if check.kind is Kind.PROBE and (current := owner.state.current(check.id)) is not None
        ]
    return told


def _signed(folder: Path, record: Record, clock: VirtualClock) -> Path:
    from verify.record.demo_key import demo_signing_key
    from verify.report.sign_off import prepare, sign_off

    path = folder
    for role in ("technician", "reviewer"):
        path = sign_off(folder, prepare(folder, record), key=demo_signing_key(role), at=clock.now().wall)
        clock.wait(60)
    return path
