"""All the words of the page, in one place, ready for translation. The template holds none of its own."""

from collections.abc import Mapping

import msgspec

from verify.judge import Rule
from verify.measure.rounding import Style
from verify.record.arrival import FoundAs, Tried
from verify.values import Outcome, Unit, Verdict

DEFERS = (
    "This record supports a technician's judgement. It does not replace the maker's service instructions, "
    "national electrical, fire, waste and transport rules, or work that the law reserves to licensed or "
    "electrically skilled persons; where they differ, they prevail."
)

NUMBERS = Style(
    space="\u00a0",
    minus="−",
    units={Unit.OHM: "Ω", Unit.MILLIOHM: "mΩ"},
    one_piece="piece",
    unknown="unknown",
    at_least="at least {bound}",
    at_most="at most {bound}",
    exactly="exactly {bound}",
    between="{lower} to {upper}",
)
"""A number and its unit do not come apart at a line's end."""

READING: Mapping[str, str] = {
    "unknown": "{unknown}: {why}",
    "unstated": "{value} (uncertainty not stated)",
    "almost_surely": "above 99.9\u00a0%",
    "hardly": "below 0.1\u00a0%",
    "share": "{percent}\u00a0%",
}

ELSE: Mapping[str, str] = {
    "doubted": "Doubted: {why}",
    "next": "What helps: {why}",
    "lie": "{sign} That speaks against it.",
    "yes": "yes",
    "no": "no",
}
"""What else a check read, and how a reading that is a code for other checks is told."""

OWNER_NUMBERS = Style(
    space=NUMBERS.space,
    minus=NUMBERS.minus,
    units={
        Unit.WATT_HOUR: "watt-hours (Wh)",
        Unit.AMPERE_HOUR: "ampere-hours",
        Unit.WATT: "watts",
        Unit.VOLT: "volts",
        Unit.AMPERE: "amperes",
        Unit.OHM: "ohms",
        Unit.MILLIOHM: "thousandths of an ohm",
        Unit.KELVIN: "degrees",
        Unit.SECOND: "seconds",
        Unit.MINUTE: "minutes",
        Unit.HOUR: "hours",
        Unit.RPM: "turns a minute",
        Unit.C_RATE: "of its capacity in an hour",
        Unit.GRAM: "grams",
        Unit.COUNT: "",
    },
    one_piece="",
    unknown=NUMBERS.unknown,
    at_least=NUMBERS.at_least,
    at_most=NUMBERS.at_most,
    exactly=NUMBERS.exactly,
    between=NUMBERS.between,
)
"""For the owner: units in words, things without the word "pieces"."""

OWNER: Mapping[str, str] = {
    "found": "Found: {value}. Good is {limit}.",
    "near": "Found: {value}. Good is {limit}: too near to it to be sure.",
    "doubted": "Found: {value}. Good is {limit}. What was read is in doubt; why stands in the part for the "
    "technician.",
    "with_check": "Why stands in the part for the technician.",
    "unmade": "Not made safe: {what}",
    "nameless": "a hazard that nobody described.",
}
"""What was measured, for the owner: no uncertainty in figures. It stands with the check."""

OWNER_SPARE: Style = msgspec.structs.replace(
    OWNER_NUMBERS, units={**OWNER_NUMBERS.units, Unit.KELVIN: "°C to spare"}
)
OWNER_MORE: Style = msgspec.structs.replace(
    OWNER_NUMBERS,
    units={**OWNER_NUMBERS.units, Unit.KELVIN: "°C more", Unit.DECIBEL: "dB weaker"},
)
"""A difference is no temperature: how far below a limit it stays, how far it is above what it was."""

OWNER_LONG = (
    (86_400.0, "{count}\u00a0days"),
    (3_600.0, "{count}\u00a0hours"),
    (60.0, "{count}\u00a0minutes"),
)
"""Two of these or more are not told in seconds; whole ones, rounded down."""

TIMES: Mapping[str, str] = {
    "moment": "{date} {time} UTC",
    "seconds": "{seconds}\u00a0s",
    "minutes": "{minutes}\u00a0min",
    "hours": "{hours}\u00a0h\u00a0{minutes}\u00a0min",
}

PAGE: Mapping[str, str] = {
    "language": "en",
    "kind": "Acceptance record",
    "ticket": "Ticket",
    "machine": "Machine",
    "serial": "Serial number",
    "unnamed": "not named",
    "owner": "Owner",
    "bench": "Bench",
    "began": "Begun",
    "ended": "Last entry",
    "practice": "PRACTICE — not an acceptance",
    "simulated": "SIMULATION — not an acceptance",
    "scripted": "Answers came from a script — not an acceptance",
    "missing": "What is missing",
    "flaws": "Known flaws",
    "accepted": "accepted as a known flaw",
    "accepted_by": "Accepted by",
    "accepted_why": "Why:",
    "owner_agreed": "The owner agreed:",
    "owner_unasked": "The owner was not asked: by the checklist it cannot be noticed in use.",
    "given_back": "Why it goes back",
    "given_back_why": "Why",
    "risks_told": "Risks told",
    "owner_signed": "Owner's signature",
    "left_as_is": "Found, and left as it is",
    "not_yet": "Not yet:",
    "undone": "{count} checks are not done. They stand under “Not checked”.",
    "undone_one": "One check is not done. It stands under “Not checked”.",
    "complaint": "The complaint",
    "no_complaint": "No complaint was written down.",
    "work": "The work",
    "work_planned": "The work that was planned",
    "no_work": "No work was written down.",
    "identity_of_part": "Marked:",
    "disturbed": "Taken out or loosened, and put back. No new part.",
    "no_part": "No new part.",
    "label": "Its label says:",
    "battery": "The battery",
    "counted": "Of {all} checks:",
    "counted_one": "Of one check:",
    "counted_accepted": "Accepted as a known flaw: {count}; that is not counted as good.",
    "not_checked": "Not checked",
    "nothing_left_out": "Nothing was left out of what this repair calls for.",
    "only_touched": "Only what this repair touched was looked at. Everything else was not.",
    "seen": "Seen, not repaired",
    "nothing_seen": "Nothing else was written down.",
    "care": "Care",
    "danger": "Danger signs",
    "danger_when": "It swells, smells, smokes, hisses, gets wet, or gets too hot to touch:",
    "shop_section": "The shop",
    "no_shop": "No shop is named in this record.",
    "signers": "Signatures",
    "signer_order": "No.",
    "signer_role": "Role",
    "signer_key": "Key",
    "signer_any": "any key known for this role",
    "signer_hand": "Name and date, on paper",
    "signers_none": "The record asks for nobody's signature: it cannot be complete.",
    "signers_where": "Who signed, and when, stands in the signatures at the end of this file.",
    "signers_how": "To see that it is whole and whose they are: handback prove report.html",
    "signer_keys": "Who has to sign, with which key",
    "technician": "For the technician",
    "technician_intro": "Every check of this repair, in the order of the work, with all its attempts. "
    "Times are UTC; one without a day is of the day beside its stage.",
    "no_checks": "No check was called for. A record without checks is held.",
    "check": "Check",
    "result": "Result",
    "reading": "Reading",
    "limit": "Limit",
    "no_reading": "no reading",
    "read_at": "Read from:",
    "limit_rule": "Limit:",
    "else_read": "What else was read",
    "else_what": "What",
    "else_told": "Read",
    "no_limit": "no limit",
    "shop_limit": "Shop limit; shipped:",
    "shop_options": "Set by the shop:",
    "with_shop_limits": "with limits of the shop",
    "good_is": "Good:",
    "note": "Note:",
    "doubted": "Doubted:",
    "note_only": "Noted only: it does not hold the machine.",
    "likely": "Likelihood that it conforms:",
    "attempts": "All attempts",
    "out_of_date": "Out of date:",
    "first_pass": "First verdict:",
    "arrival": "Taken on arrival",
    "arrival_what": "What",
    "arrival_told": "As it was",
    "first_time": "First pass",
    "first_outcome": "Had nothing been asked twice:",
    "changed_none": "No check changed its result.",
    "changed_first": "First",
    "changed_last": "in the end",
    "reopenings": "Opened again",
    "growths": "Work added",
    "gaps": "Not watched",
    "pictures": "Pictures",
    "picture": "Picture",
    "missing_picture": "Not shown: it was not in the run's folder, or could not be read.",
    "altered_picture": "NOT SHOWN: the file in the run's folder is not the picture that was taken. "
    "It was changed or exchanged.",
    "steps": "Steps",
    "taken": "Taken",
    "held": "held",
    "not_taken": "not taken yet",
    "may_be_taken": "not taken yet; nothing stands against it",
    "hazards": "Hazards",
    "no_hazards": "None was reported.",
    "made_safe": "Made safe:",
    "made_safe_by": "by",
    "not_made_safe": "NOT made safe.",
    "checklists": "Checklists",
    "checklist": "Checklist",
    "revision": "Revision",
    "hash": "SHA-256",
    "traces": "Traces",
    "trace": "Trace",
    "samples": "Samples",
    "no_traces": "None: nothing was read over time.",
    "identity": "The machine",
    "read_by": "Read by",
    "no_identity": "The machine was not read.",
    "method": "Method",
    "clock": "Clock",
    "journal": "Journal",
    "journal_lines": "lines; SHA-256 of the last one:",
    "made_by": "Made by",
    "layout": "page layout",
    "record": "The record itself",
    "record_intro": "The data that this page was made from: canonical JSON (RFC 8785).",
    "end": "End of",
    "last_sheet": "Last sheet of",
    "page": "page",
}

HEADLINES: Mapping[Outcome, tuple[str, str]] = {
    Outcome.FIT: (
        "Ready",
        (
            "What this repair calls for was checked, and nothing stands against it. "
            "The machine may go back to its owner."
        ),
    ),
    Outcome.FIT_UNDER_CONCESSION: (
        "Ready, with a known flaw",
        "The machine may go back to its owner. What is not right is known and was accepted; it stands below.",
    ),
    Outcome.HELD: (
        "Not ready",
        "The machine stays in the shop until what is missing has been done and found good.",
    ),
    Outcome.RETURNED_UNREPAIRED: (
        "Returned unrepaired",
        "The machine goes back as it is. The repair was not done, or not finished.",
    ),
}

HEADLINE_NOT_ALL: tuple[str, str] = (
    "Ready",
    (
        "Nothing that was checked stands against it. What could not be checked stands below. "
        "The machine may go back to its owner."
    ),
)
"""Fit, though it cannot be told of each thing: that is only noted."""

GLANCE: Mapping[str, str] = {
    "unmade": "Danger",
    "hazards": "{count} hazards are not made safe, told below",
    "hazards_one": "one hazard is not made safe, told below",
    "against": "What is missing",
    "left": "Left as it is",
    "accepted": "Known flaws",
    "complaint": "The complaint",
    "not_checked": "Not checked",
    "seen": "Also seen",
    "things": "{count} things, told below",
    "things_one": "one thing, told below",
    "flaws": "{count} accepted, told below",
    "flaws_one": "one accepted, told below",
    "unchecked": "{count} checks, told below",
    "unchecked_one": "one check, told below",
    "unchecked_none": "Nothing that this repair calls for",
    "no_checks": "no check was called for",
}
"""The lines of the first screen. What they tell at length stands in sections below."""

ARRIVAL: Mapping[str, str] = {
    "at": "Taken",
    "found_as": "The machine",
    "accessories": "Came with it",
    "nothing": "nothing",
    "not_said": "not said",
    "readings": "Readings",
    "readings_note": "About the readings",
    "pictures": "Pictures",
    "picture_count": "{count}, below",
    "no_pictures": "none were taken",
    "unseen": "{count} cannot be shown; why stands there.",
}

PARTS: Mapping[str, str] = {
    "title": "Parts: on arrival and now",
    "part": "Part",
    "then": "On arrival",
    "now": "Now",
    "there": "there",
    "count_there": "{count} there",
    "not_seen": "not seen",
    "off": "switched off",
    "on": "switched on",
    "not_taken": "not taken",
    "not_read": "not read",
    "unlisted": "cannot be listed",
    "level_unknown": "not known",
    "nothing_taken": "Nothing was taken on arrival, so nothing can be compared.",
    "not_read_again": "The machine's parts were not read again since arrival.",
    "all": "All {count} parts",
    "all_one": "The one part",
    "other": "The other {count} parts",
    "other_one": "The other part",
    "called": "“{name}”",
    "other_serial": "{name}, by its serial number another one",
    "renewed": "Renewed: this work is for it.",
    "for_it": "This work is for it.",
    "not_for_it": "No work of this ticket is for it.",
    "radio_off": "Its radio is switched off: that explains it. Switch it on to see it.",
    "says_nothing": "It says nothing of itself now.",
    "memory": "memory",
    "channels": "memory channels",
    "in_use": "{count} in use",
    "less_ordered": "Less than on arrival: compare with what was ordered.",
    "less_loose": "Less than on arrival: press each module home.",
    "panel": "panel, as it describes itself",
    "panel_differs": "Not as on arrival: {what}.",
    "line": "{part}: its line",
    "wlan": "wireless network",
    "bluetooth": "short-range radio",
    "switch": "switch of the {what}",
    "level": "wireless network, level",
    "level_of": "{dbm} dBm",
    "weaker": "{difference} dB weaker. {why}",
}

FOUND_AS: Mapping[FoundAs, str] = {
    FoundAs.RUNS: "it runs",
    FoundAs.DEAD: "it does not start",
    FoundAs.APART: "already apart: how it was before is not known",
}

TRIED: Mapping[Tried, str] = {
    Tried.WORKS: "works",
    Tried.FAILS: "does not work",
    Tried.NOT_TRIED: "could not be tried",
}

OPENINGS: Mapping[str, str] = {
    "base": "the base opened",
    "lid": "the lid opened",
    "pack-unplugged": "the battery unplugged",
    "feet-removed": "the feet removed",
}

WAY: Mapping[str, str] = {
    "opened": "{what}. Why: {why}",
    "voided": "Out of date by this, and asked again:",
    "voided_none": "No answer went out of date by this.",
    "unwatched": "Nobody watched for {time}",
    "asleep": "{time} of it asleep",
    "awake": "the machine did not sleep",
    "asleep_unknown": "whether the machine slept is not known",
    "lid_closed": "the lid was closed",
}

VERDICTS: Mapping[Verdict, str] = {
    Verdict.CONFORMS: "good",
    Verdict.DOES_NOT_CONFORM: "not good",
    Verdict.UNDECIDED: "cannot tell yet",
    Verdict.NOT_APPLICABLE: "does not apply",
    Verdict.NOT_DONE: "not done",
}

COUNTED: Mapping[Verdict, tuple[str, str]] = {
    Verdict.CONFORMS: ("{count} good", "{count} good"),
    Verdict.DOES_NOT_CONFORM: ("{count} not good", "{count} not good"),
    Verdict.UNDECIDED: ("{count} cannot be told yet", "{count} cannot be told yet"),
    Verdict.NOT_APPLICABLE: ("{count} does not apply", "{count} do not apply"),
    Verdict.NOT_DONE: ("{count} not done", "{count} not done"),
}
"""How many came to which verdict: one, and several."""

MARKS: Mapping[Verdict, str] = {
    Verdict.CONFORMS: "full",
    Verdict.DOES_NOT_CONFORM: "struck",
    Verdict.UNDECIDED: "half",
    Verdict.NOT_APPLICABLE: "none",
    Verdict.NOT_DONE: "empty",
}
"""The shape beside each word: how far a frame is filled tells how far the check got."""

OUTCOME_MARKS: Mapping[Outcome, str] = {
    Outcome.FIT: "full",
    Outcome.FIT_UNDER_CONCESSION: "half",
    Outcome.HELD: "struck",
    Outcome.RETURNED_UNREPAIRED: "none",
}

COMPLAINT: Mapping[Verdict, str] = {
    Verdict.CONFORMS: "It is gone.",
    Verdict.DOES_NOT_CONFORM: "It is not gone.",
    Verdict.UNDECIDED: "Whether it is gone cannot be told yet.",
    Verdict.NOT_APPLICABLE: "Whether it is gone was held not to apply.",
    Verdict.NOT_DONE: "Whether it is gone was not checked yet.",
}
COMPLAINT_NONE = "None was written down."
COMPLAINT_UNCHECKED = "No check asked whether it is gone."

BATTERY: Mapping[str, str] = {
    "not_asked": "How much the battery holds was not part of this repair's checks.",
    "unknown": "How much the battery holds is not known: {why}",
    "claims": "By its own account it holds {amount}.",
    "claims_beside": "By its own account it holds about {value}\u00a0Wh.",
    "holds": "The battery holds {amount}.",
    "of_label": "about {value} of the {label} watt-hours (Wh) printed on it: {percent}\u00a0%",
    "energy": "about {value} watt-hours (Wh)",
    "share": "about {percent}\u00a0% of what it was built for",
    "sure": "How sure: 95 chances in 100 that it lies between {low} and {high}\u00a0{unit}.",
    "sure_of_label": "How sure: 95 chances in 100 that it lies between {low} and {high}\u00a0% "
    "of what is printed on it.",
    "sure_at_least": "How sure: 95 chances in 100 that it is at least {low}\u00a0Wh; "
    "how much more, nothing shows.",
    "start_not_proven": "That leans on its own word for how full it was when the charge began.",
    "in_doubt": "That is not sure enough to decide by; why stands in the part for the technician.",
    "not_measured": "By measurement it is not known: {why}",
    "not_stated": "How exact that is, nobody has stated.",
    "doubted": "That figure is in doubt; why stands in the part for the technician.",
}

SOURCES: Mapping[str, str] = {
    "original": "Original part, from the machine's maker.",
    "used": "Used part: it served in another machine before.",
    "reproduction": "Reproduction: not made by the machine's maker.",
}

STAGES: Mapping[str, str] = {
    "arrived": "On arrival",
    "open": "Open",
    "closed": "Closed",
    "charged": "Charged",
    "finished": "Finished",
}

RULES: Mapping[Rule, str] = {
    Rule.SIMPLE: "the value alone decides",
    Rule.GUARDED: "good only where it is 95 % sure",
    Rule.COUNT: "an exact count",
    Rule.INFORM: "recorded, not judged",
}

CARE_ALWAYS = ("Keep the air slots free; do not run it on a bed or a cushion.",)

# Facts of the trade (adhesive tape reaches its full hold in about three days at room temperature; warmth
# softens it; a fuel gauge learns over several cycles; a swelling pack lifts what lies on it): common
# practice, no source.
_NEW_BATTERY = (
    (
        "New battery: for the first three or four charges, use it from full to low. "
        "Until then its percentage may jump while the battery learns how much it holds."
    ),
    "Stay near it during the first charges at home. Charge on a hard surface, away from what burns.",
    (
        "Watch for a swelling battery: the touchpad or the base lifts, a gap opens along the edge, the "
        "machine rocks on a flat table, the lid no longer closes flat. Then stop using and charging it, "
        "and call us."
    ),
    (
        "Call us too if it grows hot while it charges, goes off although it shows charge left, or soon lasts "
        "much less long."
    ),
)

CARE_FOR: Mapping[str, tuple[str, ...]] = {
    "battery": _NEW_BATTERY,
    "doubtful-battery": _NEW_BATTERY,
    "feet": (
        (
            "New feet: the adhesive needs 72 hours to hold fully. "
            "Until then lift the machine, do not slide it."
        ),
        (
            "Warmth loosens adhesive: for these days no sun, no heater, no hot car, and no long work "
            "at full power."
        ),
    ),
}

KINDS: Mapping[str, str] = {
    "doubtful-battery": "Battery",
    "liquid": "Spill",
    "software-only": "Software",
    "storage": "Drive",
}
"""Kinds of work whose name is for the bench: how the owner reads them."""

HAZARD_ADVICE = (
    "Stop. Unplug the charger. Shut the machine down if you can do so without touching the battery.",
    "Do not charge, press, bend, pierce or open the battery. Do not fit it again.",
    "Keep it away from anything that burns.",
    "If it smokes, hisses or gets hot: leave, warn others, call the fire service.",
    "When it is cool and still, trained staff isolate it. Follow your local rules; never bin it.",
)
"""What a technician does at once where a battery is a hazard; local rules come first."""

DANGER_CALL = "Call the shop."
DANGER_STEPS = (
    "Switch it off and pull the charger out, if you can do so without touching a hot part.",
    "Do not charge, press, bend or open it. Keep away what burns.",
    DANGER_CALL,
    "Smoke, hissing or fire: leave the room, warn others, call the fire service.",
)
DANGER_LOCAL = "Local rules and the fire service's word come before this page."

# The shop, as its file told of it.
SHOP: Mapping[str, str] = {
    "call": "Call the shop: {telephone}",
    "address": "Address",
    "telephone": "Telephone",
    "mail": "Mail",
    "web": "Web page",
    "warranty": "Warranty",
    "warranty_days": "{days} days from the day the machine is handed back.",
    "warranty_day": "One day from the day the machine is handed back.",
    "no_warranty": "The shop states none here.",
    "law": "It stands beside what the law gives the owner, and takes nothing from that.",
    "terms": "Terms",
    "missing_logo": "The shop's mark is not shown: it was not in the run's folder, or could not be read.",
    "altered_logo": "The shop's mark is NOT SHOWN: the file in the run's folder is not the one that was "
    "taken over. It was changed or exchanged.",
}

# One page for the counter.
SUMMARY: Mapping[str, str] = {
    "kind": "Acceptance summary",
    "more": "and {count} more: see the whole report",
    "row": "{before}; {what}",
    "stuck": ", ",
    "signature": "Signature, on paper",
    "told": "{what} {why}",
    "named": "{what}: {why}",
    "whole": "One page of an acceptance record, signed for itself. Every check, and all that ends in dots "
    "here, stands in the whole report.",
}

METHOD = (
    (
        "Each check asks one thing. The tool reads a figure, or a person looks, counts or measures with a "
        "gauge. A look is a person's answer: good, not good, or cannot see. The tool does not look."
    ),
    (
        "No measurement is exact. “32.3 Wh ± 3.8 Wh” says: the true value most likely lies between 28.5 and "
        "36.1 Wh. ± is the expanded uncertainty with the coverage factor k = 2 (JCGM 100:2008): about 95 of "
        "100 such intervals hold the true value. Where nobody stated an uncertainty, the page says so."
    ),
    (
        "Figures are rounded once, for print: the uncertainty to two digits, the value to the same place, "
        "never onto or across its limit. The record holds them unrounded."
    ),
    (
        "A limit is applied by the rule that stands beside it. “Good only where it is 95 % sure” is the "
        "default of ISO 14253-1:2017: a value too near its limit is neither good nor not good, "
        "but “cannot tell yet”; how likely it is that it conforms stands beside it (JCGM 106:2012)."
    ),
    (
        "What the machine tells about itself comes from its own sensors. The tool knows of no calibration of "
        "theirs and cannot see an error that they all share; what was measured with an instrument of the "
        "shop says so at its source."
    ),
    "An attempt is out of date once what it showed was opened or undone again; it stays here.",
    "What is unknown never counts as good.",
    "The results are those of this one machine, on the days above.",
)

# Plots of the record: capacity as bars, seams, screw tray.
CAPACITY_BARS: Mapping[str, str] = {
    "title": "Capacity of the battery, as bars",
    "named": "Battery",
    "figures": "The figures",
    "measured": "Measured",
    "claimed": "By its own account",
    "label": "On its label",
    "limit": "Limit",
    "value": "{value} {unit}",
    "interval": ", 95 %: {low} to {high}",
    "open": ", 95 %: {low} or more",
    "not_stated": ", how exact nobody has stated",
    "share": "; {percent} % of the label",
    "no_measured": "not measured",
    "no_claimed": "not known",
    "no_label": "not known",
    "accepted": "good from {value}",
    "accepted_share": "good from {value} ({limit})",
    "says": "{what}: {told}.",
}

SEAM_MAP: Mapping[str, str] = {
    "section": "Seams",
    "title": "Seams round the base, seen from below",
    "says": "Gap at each place: {places}",
    "note": "Gaps in mm. The base is seen from below; left and right are those of a machine in use.",
    "front": "front",
    "rear": "rear",
    "left": "left",
    "right": "right",
    "at": "{where} {gap}, {verdict}.",
    "at_recorded": "{where} {gap}.",
    "value": "{value}",
    "span": "{low} to {high}",
    "wider": "wider than {leaf}",
    "with_unit": "{gap} mm",
    "unknown": "not known",
    "elsewhere": "Places that are not on the drawing:",
}

TRAY: Mapping[str, str] = {
    "section": "Screw tray",
    "kind": "Kind",
    "out": "Came out",
    "new": "New",
    "back": "Went back",
    "account": "Account",
    "none_missing": "all there",
    "missing": "{count} missing",
    "over": "{count} left over",
    "unknown": "not known",
}

# Of plots: the run on one axis.
RUN: Mapping[str, str] = {
    "section": "The run over time",
    "title": "The run on one axis of time",
    "on_paper": "On paper the figures behind the drawings are left out; they stand in the file.",
    "zone": "UTC",
    "fold": "// {time}",
    "by_order_axis": "in the order of the work; no times",
    "whole": "From {began} to {ended}: {time}.",
    "by_order": "The clock was set back during the run, so times cannot be compared. The drawing shows "
    "the order of the stages, and within a stage that of the clock; it shows no lengths of time.",
    "forward": "The clock was set forward during the run: across that, lengths are not true.",
    "unread": "{count} times of the record cannot be read; what has them is not drawn.",
    "unread_one": "One time of the record cannot be read; what has it is not drawn.",
    "no_times": "Not drawn: no time of the record can be read.",
    "stages": "Stages: {stages}.",
    "stage": "{name} {time}",
    "stages_order": "Stages in their order: {stages}.",
    "watches": "Watched or waited: {watches}.",
    "watch": "{name} {time}",
    "watch_stale": "{name} {time}, out of date",
    "watch_unknown": "{name}, how long is not known",
    "watch_unknown_stale": "{name}, how long is not known, out of date",
    "watch_order": "{name}",
    "watch_order_stale": "{name}, out of date",
    "no_watches": "Nothing was watched over time.",
    "steps": "{count} steps were taken.",
    "steps_one": "One step was taken.",
    "no_steps": "No step was taken.",
    "not_taken": "Not taken: {names}.",
    "again": "Opened again {count} times.",
    "again_one": "Opened again once.",
    "hazards": "Hazards: {count}.",
    "unseen": "{count} times nobody watched for a while.",
    "unseen_one": "Once nobody watched for a while.",
    "folded": "Where it is cut (//), nothing was answered: {count} stretches, {time} together.",
    "folded_one": "Where it is cut (//), nothing was answered for {time}.",
    "undrawn": "{count} shorter ones have no bar; they stand in the figures.",
    "undrawn_one": "One shorter one has no bar; it stands in the figures.",
    "stages_undrawn": "{count} more stages have no bar; they stand in the figures.",
    "key": "A filled bar is a stage, a framed one a watch or a wait; a dashed frame is out of date. "
    "A tick on the axis is an answer.",
    "figures": "The figures: stages, watches, waits",
    "what": "What",
    "from": "From",
    "to": "To",
    "lasted": "Lasted",
    "unknown": "not known",
    "stale": "{name} (out of date)",
    "happened": "What happened, by the numbers over the drawing",
    "step": "{what}",
    "again_what": "Opened again: {what}. Why: {why}",
    "hazard": "Stop: {what}",
    "hazard_open": "Stop: {what} It was NOT made safe.",
    "made_safe": "Made safe: {what}",
    "grew": "Work added: {what}",
    "unseen_what": "Nobody watched for {time}: {what}",
    "and_more": "{count} more stand in “{section}”, “{steps}” and “{gaps}” below.",
    "list": ", ",
    "sentences": " ",
    "day_and_time": "{day} {time}",
}
"""The run on one axis of time, with what it says."""

WATCHES: Mapping[str, str] = {
    "rest-level": "Level at rest",
    "holds-under-load": "Load on battery",
    "drain": "Drain",
    "heat-margin": "Full load",
    "long-heat": "Long full load",
    "board-heat": "Long full load",
    "charge-power": "Charging power",
    "charge-to-full": "Charge to full",
    "cells-in-step": "Rest at full",
    "feet-wait": "Feet: adhesive",
}
"""Short names of what is watched, where a drawing has little room; any other goes by its own."""

RESISTANCE: Mapping[str, str] = {
    "section": "Resistance of the battery",
    "title": "Resistance of a cell against its limit",
    "unit": "mΩ",
    "cell": "Battery {name}: a cell has {value}.",
    "cell_how": "Battery {name}: a cell has {value}, {how} of the load.",
    "pack": "The {cells} cells in series together, worked out from that: {value}.",
    "unknown": "Battery {name}: its resistance is not known. {why}",
    "unknown_unnamed": "The resistance is not known. {why}",
    "judged": "Good is {limit}: {verdict}.",
    "not_judged": "No limit was applied to it.",
    "doubted": "Doubted: {why}",
    "method": "How: by a step of the load, in the manner of the two-level method of IEC 61960-3. Later "
    "after the step it is higher.",
    "limit_line": "limit {value}\u00a0mΩ",
    "sentences": " ",
}

WARMTH: Mapping[str, str] = {
    "title": "Before against after. Where no ± stands, nobody stated an uncertainty.",
    "what": "What",
    "arrival": "On arrival",
    "earlier": "Earlier, out of date",
    "now": "Now",
    "unknown": "not read",
    "rest": "Processor at rest",
    "rest_of": "Processor at rest, {name}",
    "most": "Processor, hottest that was read",
    "ends": "Processor, where full load ends",
    "after": "Processor, some minutes after",
    "fan_rest": "{name} at rest",
    "fan_loaded": "{name} under full load",
    "fan_after": "{name} after it",
    "degrees": "{value}\u00a0{unit}",
}

COURSES: Mapping[str, str] = {
    "section": "Over time",
    "packed": "What was read over time, as data (JSON lines, zlib, Base64)",
    "charge": "The charge over time",
    "drain": "The drain over time",
    "heat": "The processor under full load over time",
    "level": "Level, %",
    "power_in": "Power in, W",
    "power_out": "Power out, W",
    "voltage": "Voltage, V",
    "processor": "Processor, °C",
    "fans": "Fan speed, rpm",
    "in": "Counted in, Wh",
    "out": "Counted out, Wh",
    "read": "read",
    "fit": "fit",
    "in_by_report": "Counted in by the report, from what was read: {value}\u00a0Wh",
    "out_by_report": "Counted out by the report, from what was read: {value}\u00a0Wh",
    "check_counted": "the check counted {value}\u00a0Wh",
    "check_none": "the check told none to compare",
    "check_unknown": "the check could not count it: {why}",
    "counts_differ": "THE TWO DIFFER by {share}\u00a0%: they do not cover the same looks, or one is wrong",
    "ends_at": "ends at {value}",
    "end_is": "By the fit full load ends at {value} (95\u00a0% band).",
    "end_unknown": "Where full load ends is not known: {why}",
    "taus": "Time constants: chip {fast}, heat sink {slow}.",
    "fit_drawn": "The fit is drawn from where the load began.",
    "fit_undrawn": "The course of the fit is not drawn: it does not follow what was read closely enough, "
    "or when the load began is not known.",
    "of_one": "{what}: {name}",
    "seconds": "seconds",
    "minutes": "minutes",
    "hours": "hours",
    "time_in": "Time, {unit}",
    "limit": "limit {value}\u00a0{unit}",
    "critical": "critical {value}\u00a0{unit}",
    "and": "; ",
    "alone": "{words}.",
    "named": "{name}: {words}.",
    "from_to": "From {first} to {last}\u00a0% in {time}",
    "lasted": "Watched for {time}; its level was not told",
    "most_in": "at most {value}\u00a0W in",
    "most_out": "at most {value}\u00a0W out",
    "no_power": "its power was not told",
    "volts": "{low} to {high}\u00a0V",
    "phases": "Phases: {phases}",
    "phase": "{name} {time}",
    "phase_charge": "{name} {time} ({charge})",
    "unknown_time": "for an unknown time",
    "counted_wh": "Energy counted between empty and full at rest: {value}\u00a0Wh ({more}).",
    "counted_ah": "Charge counted between empty and full: {value}\u00a0Ah ({more}).",
    "warmed": "Processor: {first}\u00a0°C at first, {most}\u00a0°C at most, in {time}.",
    "limit_is": "The limit is {value}\u00a0°C, {margin}\u00a0K below what its sensor calls critical.",
    "critical_is": "Its sensor calls {value}\u00a0°C critical.",
    "turned": "Speed of {name}: {low} to {high}\u00a0rpm.",
    "more": "{count} more are not drawn.",
    "restarts": "{count} times the clock of the machine began anew; the lines break there.",
    "restarts_one": "Once the clock of the machine began anew; the lines break there.",
    "pauses": "{count} times nobody looked for a while; the lines break there.",
    "pauses_one": "Once nobody looked for a while; the lines break there.",
    "untold": "Where a line stops, nothing was told.",
    "unread": "{count} lines of the trace could not be read; the lines break there.",
    "unread_one": "One line of the trace could not be read; the lines break there.",
    "missing": "Not drawn: the trace {name} was not in the run's folder, or could not be read.",
    "altered": "NOT DRAWN: the file {name} in the run's folder is not the trace that was sealed. "
    "It was changed or exchanged.",
    "other_format": "Not drawn: the trace {name} is in a format that this version does not know.",
    "missing_trace": "It was not in the run's folder, or could not be read.",
    "altered_trace": "The file in the run's folder is NOT the trace that was sealed.",
    "unknown": "unknown",
    "rows": "The figures: a look every so often",
}
"""Curves of what was watched, with what they say."""
