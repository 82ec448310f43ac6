"""What a signer is shown before signing: the ticket, what came of it, whose turn it is, what is promised."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verify.record.keys import KeyCard
    from verify.report.sign_off import SignOff

_KIND_WORDS = {"report": "the whole report", "summary": "the summary, one page for the counter"}


def what_is_signed(prepared: "SignOff", card: "KeyCard", *, page: str) -> Sequence[str]:
    """Return the lines that tell a signer what gets the signature. page: where it can be read."""
    from verify.record.visible import on_one_line
    from verify.report.owner import machine_words, owner_view
    from verify.report.words import HEADLINES, PAGE, VERDICTS

    record = prepared.record
    view = owner_view(record)
    lines = [
        f"Ticket   {record.ticket.id}",
        f"Machine  {machine_words(record.ticket)}",
        f"Outcome  {HEADLINES[record.outcome][0]}",
        *(f"         {VERDICTS[result.verdict]}: {result.ask} {result.because}" for result in view.wrong),
        *(
            f"         {VERDICTS[flaw.verdict]}, {PAGE['accepted']}: {flaw.ask} {flaw.because}"
            for flaw in view.flaws
        ),
        *(f"         {line}" for line in view.missing),
        *(f"         {line}" for line in prepared.unseen),
        *(
            f"         {PAGE[mark]}"
            for mark in ("practice", "simulated", "scripted")
            if getattr(record, mark)
        ),
        f"Problem  {_complaint(record.ticket.complaint, view.complaint_says)}",
        f"Checks   {view.counted}",
        *_shop_told(prepared),
        f"Signed   {'; '.join(prepared.signed_by) or 'by nobody yet'}",
        (
            f"To sign  as number {len(prepared.signed_by) + 1} of {len(record.signers)}, "
            f"the {prepared.due.role}: {card.name}, {card.role}"
        ),
        f"Key      {card.thumbprint}",
        f"Page     {_KIND_WORDS[prepared.kind.value]}: {page}",
    ]
    return [f"{line[:9]}{on_one_line(line[9:])}" for line in lines]


def _complaint(complaint: str, says: str) -> str:
    """Return the complaint and what came of it; of none nothing can be gone."""
    from verify.report.words import PAGE

    return f"{complaint} {says}" if complaint else PAGE["no_complaint"]


def _shop_told(prepared: "SignOff") -> Sequence[str]:
    """Return what the page says in the shop's name: its promises, its own limits."""
    from verify.report.page_kind import PageKind
    from verify.report.shop import shop_view

    record = prepared.record
    shop = shop_view(record, {})
    lines = [*shop.warranty]
    if shop.terms and prepared.kind is PageKind.REPORT:
        count = len(shop.terms)
        lines.append(
            "One of its terms stands on the page." if count == 1 else f"{count} terms stand on the page."
        )
    own = [one.ask for one in record.results if one.shipped_limit is not None or one.shop_options]
    lines += [f"Judged by the shop's own limit: {ask}" for ask in own]
    if not lines:
        return ()
    return (f"Shop     {shop.name}", *(f"         {line}" for line in lines))
