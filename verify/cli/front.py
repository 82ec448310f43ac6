"""The list of commands, and the page that shows it. Imports nothing: it must be there at once."""

# Name → (module, one line of help).
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("verify.cli.demo", "Play two whole repairs on a simulated machine."),
    "practise": ("verify.cli.practise", "Learn it: a simulated machine with planted faults."),
    "arrive": ("verify.cli.arrive", "Take a machine in, before the first screw."),
    "start": ("verify.cli.start", "Say what is repaired; add work that came up."),
    "run": ("verify.cli.run", "Work through a ticket's checks; resume where it was."),
    "rework": ("verify.cli.rework", "Say what was opened again, and why."),
    "decline": ("verify.cli.decline", "Return a machine unrepaired."),
    "status": ("verify.cli.status", "Show open tickets and what each waits for."),
    "sign": ("verify.cli.sign", "Make the report and sign it."),
    "prove": ("verify.cli.prove", "Prove that a report is whole and who signed it."),
    "attach": ("verify.cli.attach", "Put the signed report into the ticket's folder."),
    "probe": ("verify.cli.probe", "Show what this machine tells about itself."),
    "measure": ("verify.cli.measure", "Measure battery and heat from a recorded log."),
    "try": ("verify.cli.try_page", "Make a page to try speakers, screen and keys."),
    "key": ("verify.cli.key", "Make, show and trust signing keys."),
    "checklists": ("verify.cli.checklists", "List the checklists, or show one composed for some work."),
    "lint": ("verify.cli.lint", "Find the mistakes in a checklist file."),
}

_FRONT = """\
Usage: handback COMMAND ...

  Decide, and be able to show, whether a repaired laptop may be handed back.
  A ticket goes: arrive, start, run, sign, attach. Try it first: handback demo

Commands:
{commands}
  handback COMMAND --help tells more, with an example. handback --version tells the version.
"""


def help_text() -> str:
    """Return the front page: what the tool is for, and its commands."""
    width = max(map(len, COMMANDS))
    lines = "".join(f"  {name:<{width}}  {line}\n" for name, (_, line) in COMMANDS.items())
    return _FRONT.format(commands=lines)
