"""What is said of a ticket on the command line: machine, shop, work, parts; shared by several commands."""

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from verify.checklist.shop import SHOP_FILE, ShopFile, load_shop
from verify.record.key_store import HOME_VARIABLE, default_home
from verify.record.model import Part, Shop, Ticket, Work
from verify.record.visible import on_one_line
from verify.values import dimension, parse_quantity
from verify.values.errors import WrongUseError

_SOURCES = ("original", "used", "reproduction")

_FIGURE = re.compile(r"[+-]?[\d.]+\s*[^\s\d,;]+")
_FIGURES = re.compile(rf"{_FIGURE.pattern}(?:[\s,;]+{_FIGURE.pattern})*")
_LABEL_NAMES = {"energy": "energy", "voltage": "voltage", "charge": "charge", "mass": "weight"}

SHOP_VARIABLE = "HANDBACK_SHOP_FILE"

shop_file_option = click.option(
    "--shop-file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    envvar=SHOP_VARIABLE,
    help="The shop's own file: name, address, logo, warranty, terms, limits. Else the one that "
    f"{SHOP_VARIABLE} names, else {SHOP_FILE} in handback's own folder ({HOME_VARIABLE}), if it is there.",
)

_TICKET = (
    click.option("--maker", default="", help="Who made the machine."),
    click.option("--model", default="", help="Its model."),
    click.option(
        "--serial", default="", help="Its serial number, if the owner agrees that the report shows it."
    ),
    click.option("--complaint", default="", help="What is wrong, in the owner's words."),
    click.option("--owner", default="", help="Whose machine it is."),
    click.option("--shop", default="", envvar="HANDBACK_SHOP", help="The shop's name, without a file of it."),
    shop_file_option,
    click.option("--bench", default="", envvar="HANDBACK_BENCH", help="The bench."),
    click.option(
        "--signer",
        "signers",
        multiple=True,
        metavar="ROLE",
        help="A role that must sign besides the technician, in this order. Repeat it.",
    ),
    click.option(
        "--own",
        type=click.Path(exists=True, file_okay=False, path_type=Path),
        help="A folder with the shop's own checklists.",
    ),
)

_WORK = (
    click.option(
        "--work",
        "works",
        multiple=True,
        metavar="KIND[=SOURCE]",
        help=f"What was fitted or disturbed; for a new part its source: {', '.join(_SOURCES)}. Repeat it.",
    ),
    click.option(
        "--label",
        "labels",
        multiple=True,
        metavar='KIND="57.0 Wh 11.4 V 5.0 Ah"',
        help="What the part's label says: its energy; better its volts and amp-hours too, and what it weighs "
        "in g. Repeat it.",
    ),
)

Command = Callable[..., Any]


def ticket_options(command: Command) -> Command:
    """Add the options that describe the ticket."""
    for option in reversed(_TICKET):
        command = option(command)
    return command


def work_options(command: Command) -> Command:
    """Add the options that name the work and its parts."""
    for option in reversed(_WORK):
        command = option(command)
    return command


def shop_path(given: Path | None) -> Path | None:
    """Return where the shop's file lies: as given, else in handback's own folder; None: there is none.

    Raises WrongUseError where a pipe or a device is given: it is read more than once.
    """
    if given is not None:
        if not given.is_file():
            raise WrongUseError(
                f"{on_one_line(str(given))} is not a file.", next_step="Name the shop's file itself."
            )
        return given
    path = default_home() / SHOP_FILE
    return path if path.is_file() else None


def shop_path_for(given: Path | None, *, ticket: Ticket, shop: Shop | None) -> Path | None:
    """Return where the shop's file lies for work that is added to a run, and say where it is missing.

    shop: what the run was begun with. Raises WrongUseError where the file is of another shop.
    """
    path = shop_path(given)
    if shop is None:
        return path
    if path is None:
        click.echo(
            "The shop's file is not here any more: if it has limits of its own, they do not count for what "
            "is added now. To count them, give it: --shop-file"
        )
        return None
    name = load_shop(path).name
    if name != ticket.shop:
        raise WrongUseError(
            f'{ticket.id} was begun by "{ticket.shop}", and {on_one_line(str(path))} is of "{name}".',
            next_step="Give the file of the shop that began it: --shop-file.",
        )
    return path


def shop_from(path: Path | None) -> ShopFile | None:
    """Read the shop's file but for its limits; None where there is none. Raise ChecklistError as it does."""
    return None if path is None else load_shop(path)


def ticket_from(
    ticket: str, told: Mapping[str, str], work: tuple[Work, ...] = (), *, shop: ShopFile | None = None
) -> Ticket:
    """Make the ticket from what the options and the shop's file say.

    Raises WrongUseError where they name two shops.
    """
    named = {name: told[name] for name in ("maker", "model", "serial", "complaint", "owner", "shop", "bench")}
    if shop is not None:
        if named["shop"] not in ("", shop.name):
            raise WrongUseError(
                f'The shop\'s file is of "{shop.name}", and --shop or HANDBACK_SHOP names "{named["shop"]}".',
                next_step="Leave that name out, or give the other shop's file: --shop-file.",
            )
        named["shop"] = shop.name
    return Ticket(id=ticket, work=work, **named)


def refuse_other(ticket: Ticket, told: Mapping[str, str]) -> None:
    """Refuse what is said of a ticket that is open already where it says something else of it.

    Raises WrongUseError. Shop and bench may come from the surroundings, and are left as they were.
    """
    for name, value in told.items():
        known = getattr(ticket, name)
        if value and value != known and name not in ("shop", "bench"):
            has = f'"{known}"' if known else "none"
            raise WrongUseError(
                f"{ticket.id} is open already, with another {name}: {has}.",
                next_step=f"Leave out --{name}, or use another ticket.",
            )


def work_from(works: tuple[str, ...], labels: tuple[str, ...]) -> tuple[Work, ...]:
    """Read the work and its parts.

    Raises WrongUseError or InvalidValueError, with what to write.
    """
    said: dict[str, Mapping[str, str]] = {}
    for label in labels:
        kind, _, text = label.partition("=")
        figures = _figures(text)
        _once(kind, said, "label")
        said[kind] = figures
    parsed: dict[str, Work] = {}
    for work in works:
        kind, _, source = work.partition("=")
        if source and source not in _SOURCES:
            raise WrongUseError(f'"{source}" is not a source.', next_step=f"Use {', '.join(_SOURCES)}.")
        _once(kind, parsed, "work")
        label_of = said.pop(kind, {})
        if label_of and not source:
            raise WrongUseError(
                f'The label is of a part for "{kind}", and nobody said where that comes from.',
                next_step=f"Use --work {kind}=SOURCE, one of {', '.join(_SOURCES)}.",
            )
        parsed[kind] = Work(kind=kind, part=Part(source=source, label=label_of) if source else None)
    if said:
        kind = next(iter(said))
        raise WrongUseError(
            f'There is a label for "{kind}", but no such work.', next_step=f"Add --work {kind}."
        )
    return tuple(parsed.values())


def _figures(text: str) -> dict[str, str]:
    """Read what a label says, each figure once: "57.0 Wh 11.4 V 5.0 Ah 236 g"; blanks, commas or = between.

    Raises InvalidValueError or WrongUseError, with what to write.
    """
    how = 'Write it like battery="57.0 Wh", or battery="57.0 Wh 11.4 V 5.0 Ah".'
    figures: dict[str, str] = {}
    for written in _FIGURE.findall(text) if _FIGURES.fullmatch(text.strip()) else (text.strip(),):
        quantity = parse_quantity(written)
        name = _LABEL_NAMES.get(dimension(quantity.unit))
        if name is None or quantity.value <= 0:
            raise WrongUseError(f'"{written}" is not what a label says of a part.', next_step=how)
        if name in figures:
            raise WrongUseError(
                f"The label names its {name} twice: {figures[name]}, {written}.", next_step=how
            )
        figures[name] = written
    if "energy" not in figures:
        raise WrongUseError(f'"{text}" is not the energy of a part.', next_step=how)
    return figures


def _once(kind: str, named: Mapping[str, object], what: str) -> None:
    if kind in named:
        raise WrongUseError(f'The {what} "{kind}" is named twice.', next_step="Name it once.")
