"""`handback key`: make, show, trust, list and revoke signing keys."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD, NOT_ESTABLISHED
from verify.values import SystemClock
from verify.values.errors import FileFormatError, SigningKeyError

if TYPE_CHECKING:
    from verify.record.keys import KeyCard


@click.group(name="key", context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Make, show and trust signing keys.

    Keys lie in the user's configuration folder, or in HANDBACK_HOME. Keep them on the bench computer,
    never on a machine that is being repaired.

    Example: handback key new "Demo Person" --role technician
    """


@command.command()
@click.argument("name")
@click.option("--role", required=True, help="For which role it signs: technician, reviewer.")
@click.option("--no-passphrase", is_flag=True, help="Leave the key file unlocked: who reads it can sign.")
@click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path),
    help="Take the passphrase from the first line of this file.",
)
def new(name: str, role: str, *, no_passphrase: bool, passphrase_file: Path | None) -> int:
    """Make a key for one person in one role.

    Example: handback key new "Demo Person" --role technician
    """
    from verify.cli.passphrase import passphrase_for
    from verify.record.key_store import KeyStore, default_home

    if no_passphrase and passphrase_file is not None:
        raise click.UsageError("--no-passphrase and --passphrase-file contradict each other.")
    store = KeyStore(default_home())
    passphrase = (
        None if no_passphrase else passphrase_for("New passphrase", file=passphrase_file, confirm=True)
    )
    card = store.new(name, role, passphrase, at=SystemClock().now().wall)
    click.echo(f"Made a key for {card.name}, {card.role}, in {store.folder}.")
    click.echo(f"Thumbprint: {card.thumbprint}")
    if no_passphrase:
        click.echo("The key file is not locked: whoever can read it can sign.")
    click.echo(f'To be known elsewhere, hand over its card: handback key show "{card.name}" > card.json')
    return GOOD


@command.command()
@click.argument("name", required=False)
def show(name: str | None) -> int:
    """Print the public card of a key, to hand to others. It holds no secret.

    Example: handback key show "Demo Person" > card.json
    """
    from verify.record.key_store import KeyStore, default_home
    from verify.record.keys import card_bytes

    store = KeyStore(default_home())
    own = store.own()
    if name is None and len(own) != 1:
        names = ", ".join(card.name for card in own)
        raise SigningKeyError(
            "There is no key here." if not own else "There is more than one key here.",
            next_step=f"Name one: {names}" if own else "Make one: handback key new NAME --role technician",
        )
    card = own[0] if name is None else store.card(name)
    click.echo(card_bytes(card).decode(), nl=False)
    click.echo(f"{card.name}, {card.role}. Thumbprint: {card.thumbprint}", err=True)
    return GOOD


@command.command()
@click.argument("file", type=click.Path(path_type=Path))
def trust(file: Path) -> int:
    """Know the key on a card from now on. Compare its thumbprint with the owner first, by voice.

    Example: handback key trust card.json
    """
    from verify.record.key_store import KeyStore, default_home

    store = KeyStore(default_home())
    card = read_card(file)
    store.trust(card, at=SystemClock().now().wall)
    click.echo(f"Known from now on: {card.name}, {card.role}.")
    for other in store.trusted():
        if other.card.name == card.name and other.card != card and other.revoked_at is None:
            click.echo(
                f"Another key of that name is known, {other.card.role}: {other.card.thumbprint}. Both count."
            )
    click.echo(f"Thumbprint: {card.thumbprint}")
    click.echo("Ask its owner to read out the thumbprint. If it differs, revoke it here.")
    return GOOD


@command.command(name="list")
@click.option("--json", "as_json", is_flag=True, help="For a program to read.")
def list_keys(*, as_json: bool) -> int:
    """List the known keys, the revoked ones included.

    Example: handback key list
    """
    import msgspec

    from verify.record.key_store import KeyStore, default_home

    store = KeyStore(default_home())
    known, own = store.trusted(), {card.thumbprint for card in store.counting()}
    if as_json:
        rows = [{**msgspec.to_builtins(key), "can_sign_here": key.card.thumbprint in own} for key in known]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    elif not known:
        click.echo("No key is known here. Make one: handback key new NAME --role technician")
    else:
        for key in known:
            standing = "known" if key.revoked_at is None else f"REVOKED on {key.revoked_at}"
            here = ", can sign here" if key.card.thumbprint in own else ""
            click.echo(f"{key.card.name}, {key.card.role}: {standing}{here}")
            click.echo(f"    {key.card.thumbprint}")
    return GOOD if known else NOT_ESTABLISHED


@command.command()
@click.argument("name")
def revoke(name: str) -> int:
    """Refuse a key from now on, whatever time its signatures claim. NAME, or its thumbprint.

    Example: handback key revoke "Demo Person"
    """
    from verify.record.key_store import KeyStore, default_home

    card = KeyStore(default_home()).revoke(name, at=SystemClock().now().wall)
    click.echo(f"Revoked: {card.name}, {card.role}. Reports signed with it are refused from now on.")
    click.echo(f"Thumbprint: {card.thumbprint}. Tell the shops that know it.")
    return GOOD


def read_card(file: Path) -> "KeyCard":
    """Read a key card's file.

    Raises FileFormatError where it cannot be read or is not one.
    """
    from verify.record.keys import card_from

    try:
        data = file.read_bytes()
    except OSError as error:
        raise FileFormatError(f"{file} cannot be read: {error.strerror or error}.") from error
    return card_from(data, str(file))
