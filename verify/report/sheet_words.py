"""All the words of the sheet to fill by hand and of the listing of checks, in one place for translation.

Words that both share with the page (stages, hazards) stand with the page's.
"""

from collections.abc import Mapping

from verify.checklist import Kind, Shows

TALLY_COLUMNS = ("out", "new", "back", "returned", "scrapped", "missing")
SPAN_COLUMNS = ("enters, mm", "stops, mm")
TICKET_LINES = ("Ticket", "Machine", "Serial, if the owner agrees", "Bench and date")

SHOWN: Mapping[Shows, str] = {
    Shows.TONES: "Tool: plays the tones (T).",
    Shows.COLOURS: "Tool: shows the colours (T).",
    Shows.KEYS: "Tool: shows a key map (T).",
}
"""What the tool can show for a check, and the key that does it."""

BOXES: Mapping[Kind, tuple[str, ...]] = {
    Kind.HAZARD: ("No", "Yes", "Cannot tell: counts as yes"),
    Kind.PHOTO: ("Good", "Not good", "Cannot see", "No picture"),
    Kind.WAIT: ("Done",),
    Kind.PROBE: ("Good", "Not good", "Cannot tell"),
}
BOXES_ELSE = ("Good", "Not good", "Cannot see")
"""The answers that a cross is put at."""

TO_WRITE: Mapping[Kind, tuple[str, ...]] = {
    Kind.PHOTO: ("Number of the picture, or why there is none",),
    Kind.PROBE: ("Reading of the tool", "Note"),
    Kind.WAIT: ("From, to", "Note"),
}
TO_WRITE_ELSE = ("Note",)

SHEET: Mapping[str, str] = {
    "title": "Sheet to fill by hand",
    "hazard": "If anything bulges, is hot, wet, smokes or smells",
    "use": "One cross for each number. Cannot see, or cannot tell, counts as not good where no line says "
    "otherwise. Give the answers to the tool afterwards: this sheet is no record.",
    "tally_rule": "Missing = out + new - back - returned - scrapped.",
    "value_rule": "Leave it empty where it was not measured.",
    "span_rule": "Enters: the thickest leaf that goes in. Stops: the thinnest that does not.",
    "local_rules": "The maker's service instructions, local rules and licensed persons come before this "
    "sheet.",
    "flaws": "Accepted with a known flaw: number, by whom, why, the owner's yes (how, when)",
    "beside": "Seen beside the work, not repaired",
    "made_safe": "Hazard made safe: which part, where it lies now, by whom, when",
    "done": "Done",
    "time": "Time",
    "initials": "Initials",
    "time_and_initials": "Time and initials",
    "name": "Name",
    "date": "Date",
    "name_and_date": "Name, date",
    "signature": "Signature",
    "signature_of": "Signature:",
    "technician": "technician",
}

LISTING: Mapping[str, str] = {
    "not_yet": "Not yet:",
    "not_yet_until": "Not yet: {step}, {until}.",
    "then": "Then: {what}",
    "caution": "Caution: {what}",
    "asked": "{ask} Good: {good}",
    "id": "Id: {id}",
    "until_all": "until every number is good",
    "until_one": "until {numbers} is good",
    "until": "until {numbers} are good",
    "work_unnamed": "whatever was done",
    "checks_for": "Checks for: {work}",
    "much": "{checks} checks. About {hands} of hands, {waiting} of reading and waiting.",
    "much_on_screens": "{checks} checks on {screens} screens. About {hands} of hands, {waiting} of reading "
    "and waiting.",
    "stations": "At: {stations}.",
    "counts": "Count: {counts}.",
    "shop_options": "Set by the shop: {options} ({source}).",
    "shop_limit": "Shop limit: {limit}; shipped: {shipped}.",
    "unsure_probe": "If the tool cannot tell, that does not hold. Not good does.",
    "unsure_photo": "Without a picture, that does not hold. Not good does.",
    "unsure": "If it cannot be seen, that does not hold. Not good does.",
    "minutes": "{minutes} min",
    "hours": "{hours} h",
    "hours_minutes": "{hours} h {minutes} min",
    "run": "{first} to {last}",
    "and": "{others} and {last}",
}
