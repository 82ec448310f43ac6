"""How a run begins and what it is composed of: ticket, work, the texts of the checklists."""

import hashlib
from collections.abc import Iterable

import msgspec

from verify import TOOL
from verify.checklist import Checklist, Composition, Kind
from verify.checklist.compose import compose
from verify.checklist.loader import parse_checklist
from verify.checklist.shop import ShopFile
from verify.probe import Context
from verify.probe.registry import make_probe
from verify.record.model import Shop, Ticket, UsedChecklist, Work
from verify.run.events import JOURNAL_FORMAT, Began, Line, WorkAdded
from verify.run.folder import RunFolder
from verify.run.journal import Journal
from verify.run.pictures import take_over_logo
from verify.values import Clock
from verify.values.errors import WrongUseError


def begin(
    folder: RunFolder,
    *,
    ticket: Ticket,
    checklists: Iterable[Checklist],
    clock: Clock,
    signers: tuple[str, ...] = (),
    shop: ShopFile | None = None,
    arriving: bool = False,
    whole: bool = True,
) -> None:
    """Write a new run's first line. Hold the folder's lock.

    signers: roles that have to sign besides those that the checklists ask for. shop: what the shop's file
    says, copied into the run with its logo. arriving: the machine is
    taken in first; its work is said later. whole: the checklists are all there are; a step that none of them
    has is a mistake.
    Raises WrongUseError where the folder already holds a run, the work cannot be composed, or an automatic
    check cannot be made; as `take_over_logo` does for the logo.
    """
    composition = compose(tuple(checklists), [work.kind for work in ticket.work], whole=whole)
    refuse_impossible(composition)
    journal = Journal(folder.journal_path)
    if journal.lines:
        raise WrongUseError(
            f"{ticket.id} is open already.", next_step=f"Go on with: handback run {ticket.id}"
        )
    began = Began(
        format=JOURNAL_FORMAT,
        tool=TOOL,
        ticket=ticket,
        shop=None if shop is None else _copied(folder, shop),
        signers=signers,
        checklists=tuple(used(checklist) for checklist in composition.checklists),
        arriving=arriving,
    )
    journal.append(began, clock.now())


def _copied(folder: RunFolder, shop: ShopFile) -> Shop:
    """Return what the file says as the run keeps it, the logo taken over."""
    return Shop(
        address=shop.address,
        telephone=shop.telephone,
        mail=shop.mail,
        web=shop.web,
        warranty=shop.warranty,
        warranty_days=shop.warranty_days,
        terms=shop.terms,
        logo=None if shop.logo is None else take_over_logo(folder.path, shop.logo),
    )


def refuse_impossible(composition: Composition) -> None:
    """Raise WrongUseError or InvalidValueError where an automatic check cannot be made."""
    for check in composition.checks:
        if check.kind is Kind.PROBE:
            make_probe(check.probe or "", check.options, Context())


def used(checklist: Checklist) -> UsedChecklist:
    """Return the checklist as the record keeps it: its whole text, and the hash of that."""
    return UsedChecklist(
        id=checklist.id,
        revision=checklist.revision,
        title=checklist.title,
        sha256=hashlib.sha256(checklist.text.encode()).hexdigest(),
        text=checklist.text,
    )


def checklists_of(lines: Iterable[Line]) -> tuple[UsedChecklist, ...]:
    """Return the checklists that the run uses: those it began with, then those that work brought."""
    found: dict[str, UsedChecklist] = {}
    for line in lines:
        if isinstance(line.event, Began | WorkAdded):
            for each in line.event.checklists:
                found.setdefault(each.id, each)
    return tuple(found.values())


def work_of(lines: Iterable[Line]) -> tuple[Work, ...]:
    """Return the work that was said so far, in order."""
    said: list[Work] = []
    for line in lines:
        if isinstance(line.event, Began):
            said += line.event.ticket.work
        elif isinstance(line.event, WorkAdded):
            said += line.event.work
    return tuple(said)


def composition_of(lines: Iterable[Line]) -> Composition:
    """Compose the checklists that the run uses, from the texts kept in its journal.

    Raises ChecklistError where this version of the tool reads them differently.
    """
    lines = tuple(lines)
    checklists = tuple(parse_checklist(each.text, name=f"{each.id}.yaml") for each in checklists_of(lines))
    signers = [
        role for line in lines if isinstance(line.event, Began | WorkAdded) for role in line.event.signers
    ]
    # Those for every repair first: the order of the steps must not hang on when work was added.
    ordered = sorted(checklists, key=lambda each: bool(each.for_work))
    composed = compose(ordered, [work.kind for work in work_of(lines)], whole=False)
    return msgspec.structs.replace(composed, signers=tuple(dict.fromkeys((*composed.signers, *signers))))
