"""All the words of the page, in one place, ready for translation. The template holds none of its own."""

from collections.abc import Mapping

from verify.judge import Rule
from verify.record.arrival import FoundAs, Tried
from verify.values import Outcome, Verdict

DEFERS = (
    "This record supports a technician's judgement. It does not replace the maker's service instructions, "
    "national electrical, fire, waste and transport rules, or work that the law reserves to licensed or "
    "electrically skilled persons; where they differ, they prevail."
)

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
    "signers_how": "Who signed, and when, stands in the signatures at the end of this file. "
    "To see that it is whole and whose they are: handback prove report.html",
    "technician": "For the technician",
    "technician_intro": "Every check of this repair, in the order of the work, with all its attempts.",
    "no_checks": "No check was called for. A record without checks is held.",
    "check": "Check",
    "result": "Result",
    "reading": "Reading",
    "limit": "Limit",
    "no_reading": "no reading",
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
    "pictures": "Pictures taken on arrival",
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
    "revision": "Revision",
    "hash": "SHA-256",
    "traces": "Traces",
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
        "The machine may go back to its owner. A flaw is known and was accepted; it stands below.",
    ),
    Outcome.HELD: (
        "Not ready",
        "The machine stays in the shop until what is missing was done and was good.",
    ),
    Outcome.RETURNED_UNREPAIRED: (
        "Returned unrepaired",
        "The machine goes back as it is. The repair was not done, or not finished.",
    ),
}

ARRIVAL: Mapping[str, str] = {
    "at": "Taken",
    "found_as": "The machine",
    "accessories": "Came with it",
    "nothing": "nothing",
    "not_said": "not said",
    "readings": "Readings",
    "readings_note": "About the readings",
    "pictures": "Pictures",
    "picture_count": "{count}, at the end of this part",
    "no_pictures": "none were taken",
    "unseen": "{count} cannot be shown; why stands there.",
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
COMPLAINT_UNCHECKED = "No check asked whether it is gone."

BATTERY: Mapping[str, str] = {
    "not_asked": "How much the battery holds was not part of this repair's checks.",
    "unknown": "How much the battery holds is not known: {why}",
    "claims": "By its own account the battery holds {amount}.",
    "holds": "The battery holds {amount}.",
    "of_label": "about {value} of the {label} Wh on its label, {percent} %",
    "energy": "about {value} Wh",
    "share": "about {percent} % of what it was built for",
    "sure": "How sure: 95 % that it lies between {low} and {high} {unit}.",
    "sure_of_label": "How sure: 95 % that it lies between {low} and {high} % of the label.",
    "sure_at_least": "How sure: 95 % that it is at least {low} Wh; how much more, nothing shows.",
    "start_not_proven": "That leans on its own word for how full it was when the charge began.",
    "in_doubt": "Not sure enough to decide by. {why}",
    "not_measured": "By measurement it is not known: {why}",
    "not_stated": "How exact that is, nobody has stated.",
    "source": "Read from: {source}",
    "doubted": "Doubted: {why}",
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

# Facts of the trade (adhesive tape reaches its full hold in about three days; a fuel gauge learns over
# several cycles): common practice, no source.
_NEW_BATTERY = (
    (
        "New battery: for the first three or four charges, use it from full to low. "
        "Until then its percentage may jump; that is the gauge learning."
    ),
    "Stay near it during the first charges at home. Charge on a hard surface, away from what burns.",
    "If the touchpad or the base begins to lift, stop using it and call us: the battery may be swelling.",
)

CARE_FOR: Mapping[str, tuple[str, ...]] = {
    "battery": _NEW_BATTERY,
    "doubtful-battery": _NEW_BATTERY,
    "feet": (
        (
            "New feet: the adhesive needs 72 hours to hold fully. "
            "Until then lift the machine, do not slide it, and keep it from heat."
        ),
    ),
}

KINDS: Mapping[str, str] = {"doubtful-battery": "Battery"}
"""Kinds of work whose name is for the bench: how the owner reads them."""

HAZARD_ADVICE = (
    "Stop. Unplug the charger. Shut the machine down if you can do so without touching the battery.",
    "Do not charge, press, bend, pierce or open the battery. Do not fit it again.",
    "Keep it away from anything that burns.",
    "If it smokes, hisses or gets hot: leave, warn others, call the fire service.",
    "When it is cool and still, trained staff isolate it. Follow your local rules; never bin it.",
)
"""What a technician does at once where a battery is a hazard; local rules come first."""

DANGER_STEPS = (
    "Switch it off and pull the charger out, if you can do so without touching a hot part.",
    "Do not charge, press, bend or open it. Keep away what burns.",
    "Call the shop.",
    "Smoke, hissing or fire: leave the room, warn others, call the fire service.",
)
DANGER_LOCAL = "Local rules and the fire service's word come before this page."

METHOD = (
    (
        "± is the expanded uncertainty, k = 2: about 95 % of such intervals hold the true value. "
        "Where nobody stated an uncertainty, the page says so."
    ),
    (
        "A limit is applied by the rule that stands beside it. “Good only where it is 95 % sure” is the "
        "default of ISO 14253-1:2017: a value too near its limit is neither good nor not good, "
        "but “cannot tell yet”."
    ),
    "A look is a person's answer: good, not good, or cannot see. The tool does not look.",
    "An attempt is out of date once what it showed was opened or undone again; it stays here.",
    "What is unknown never counts as good.",
    "The results are those of this one machine, on the days above.",
)
