"""What the page tells of the shop: from the ticket, and from the shop's file as it was when the run began."""

from collections.abc import Mapping

import msgspec

from verify.record.model import Record, Shop
from verify.report.logo import LogoView, logo_view
from verify.report.words import DANGER_CALL, DANGER_STEPS, SHOP


class ShopView(msgspec.Struct, frozen=True, kw_only=True):
    """The shop, as foreign text that is not escaped yet.

    name: with the bench; empty where none is named. ways: how it is reached, name (telephone, mail, web) and
    text. warranty: empty where no file told of the shop. danger: what to do at danger signs, with whom to
    call.
    """

    name: str
    logo: LogoView | None
    address: tuple[str, ...]
    ways: tuple[tuple[str, str], ...]
    telephone: str
    warranty: tuple[str, ...]
    terms: tuple[str, ...]
    danger: tuple[str, ...]


def shop_view(record: Record, pictures: Mapping[str, bytes]) -> ShopView:
    """Pick what is told of the shop. pictures: bytes by the file's name, the logo among them."""
    ticket, shop = record.ticket, record.shop or Shop()
    named = [piece for piece in (ticket.shop, ticket.bench) if piece]
    ways = (("telephone", shop.telephone), ("mail", shop.mail), ("web", shop.web))
    call = SHOP["call"].format(telephone=shop.telephone) if shop.telephone else DANGER_CALL
    return ShopView(
        name=", ".join(named) if ticket.shop else "",
        logo=logo_view(record, pictures),
        address=shop.address,
        ways=tuple((name, text) for name, text in ways if text),
        telephone=shop.telephone,
        warranty=() if record.shop is None else _warranty(record.shop),
        terms=shop.terms,
        danger=tuple(call if line == DANGER_CALL else line for line in DANGER_STEPS),
    )


def _warranty(shop: Shop) -> tuple[str, ...]:
    if not shop.warranty and shop.warranty_days is None:
        return (SHOP["no_warranty"],)
    days = shop.warranty_days
    counted = "" if days is None else SHOP["warranty_day" if days == 1 else "warranty_days"].format(days=days)
    return tuple(line for line in (counted, shop.warranty, SHOP["law"]) if line)
