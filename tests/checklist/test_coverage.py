"""What comes back after a repair: each such fault has a check in the job where it arises, shown to catch it.

The faults are facts of the trade [common practice, no source]; how often each comes back is counted nowhere
in public. What has no check is named at the end, with the reason.
"""

from collections.abc import Sequence
from functools import cache

import msgspec
import pytest

from verify.checklist import Composition
from verify.checklist.compose import compose
from verify.checklist.shipped import SPECIMENS_SUFFIX, checklist_files, shipped_checklists, shipped_dir
from verify.checklist.specimen_files import load_specimens

SHIPPED = {checklist.id: checklist for checklist in shipped_checklists()}
SPECIMENS = [
    specimen
    for path in checklist_files(shipped_dir())
    for specimen in load_specimens(path.with_name(path.stem + SPECIMENS_SUFFIX)).specimens
]
ANY_WORK = ""


class Comeback(msgspec.Struct, frozen=True, kw_only=True):
    """One fault that comes back. work: the jobs where it arises, "" for one that opens nothing.

    checklist, check: what catches it. by: faults of the specimens that show it, each on its own.
    """

    name: str
    work: tuple[str, ...]
    checklist: str
    check: str
    by: tuple[str, ...]


def row(name: str, work: str, checklist: str, check: str, *by: str) -> Comeback:
    kinds = tuple(work.split()) or (ANY_WORK,)
    return Comeback(name=name, work=kinds, checklist=checklist, check=check, by=by)


BASE = " ".join(SHIPPED["base-opened"].for_work)
FULL = "battery charging-port main-board liquid"
LID = "lid hinge"

COMEBACKS = (
    # ---------------------------------------------------------------- every job that opens the base
    row("antenna plug knocked off", BASE, "base-opened", "lead-plugs", "antenna lead off"),
    row("speaker plug knocked off", BASE, "base-opened", "lead-plugs", "speaker lead off"),
    row("fan plug not put back", BASE, "base-opened", "lead-plugs", "fan lead off"),
    row("battery plug not home", BASE, "base-opened", "pack-plug-home", "battery plug half in"),
    row("battery bent by prying", BASE, "base-opened", "pack-flat", "battery dented"),
    row("ribbon bar left open", BASE, "base-opened", "flat-cables", "flat cable bar open"),
    row("ribbon latch broken", BASE, "base-opened", "flat-cables", "flat cable bar held by tape"),
    row("lead under a screw post", BASE, "base-opened", "lead-ways", "lead over a screw post"),
    row("lead trapped at the rim", BASE, "base-opened", "lead-ways", "lead over the rim"),
    row("screw left inside", BASE, "base-opened", "nothing-loose", "screw left inside"),
    row("tool left inside", BASE, "base-opened", "all-accounted", "tweezers left inside"),
    row("screw missing", BASE, "base-opened", "all-accounted", "base screw lost"),
    row("screws swapped on the tray", BASE, "base-opened", "all-accounted", "long screw for a short one"),
    row("long screw in a short hole", BASE, "base-opened", "deck-smooth", "long screw in a short hole"),
    row("screw head worn round", BASE, "base-opened", "bottom-screws", "screw head worn"),
    row("pad of the cover lost", BASE, "base-opened", "cover-lining", "pad lost from the base"),
    row("mesh misplaced", BASE, "base-opened", "cover-lining", "mesh folded over"),
    row("foam in an air opening", BASE, "base-opened", "air-openings", "foam over an air opening"),
    row("clip not home", BASE, "base-opened", "cover-flush", "clip not home"),
    row("gap pulled shut or left open", BASE, "base-opened", "seam-even", "base bowed at one side"),
    row("lead in the fan", BASE, "base-opened", "fan-sound", "lead in the fan"),
    row("noisy bearing left in", BASE, "base-opened", "fan-sound", "fan bearing worn"),
    row(
        "memory knocked out of its socket", BASE, "base-opened", "memory-as-arrived", "memory module not home"
    ),
    row("sensor lead left off", BASE, "base-opened", "sensors-as-arrived", "sensor lead off"),
    row("cover touches the fan", "base-cover cooling", "base-opened", "fan-press", "base touches the fan"),
    row("earth of the base left out", "base-cover", "touchpad", "touchpad-lines", "earth foil left out"),
    # ---------------------------------------------------------------- battery
    row(
        "lead pinched under the battery", "battery", "battery", "seam-gaps", "lead pinched under the battery"
    ),
    row("plug lets go at a knock", "battery", "touchpad", "palm-knock", "battery plug lets go"),
    row("battery not held", "battery", "battery", "pack-fixed", "holders left out"),
    row("screw in the bay", "battery", "battery", "bay-clean", "screw under the battery"),
    row("other cells in series", "battery", "battery", "pack-label", "three cells instead of four"),
    row("pins changed over", "battery", "battery", "pack-volts", "pins changed over"),
    row("holds less than its label", "battery", "battery", "claimed-capacity", "holds 31 Wh"),
    row("gauge not learned", "battery", "battery", "claimed-capacity", "gauge not learned"),
    row(
        "gauge not learned, measured", "doubtful-battery", "battery", "gauge-told-truth", "gauge not learned"
    ),
    row(
        "gauge that lies at full",
        "battery doubtful-battery",
        "battery",
        "gauge-told-truth",
        "gauge boasts",
        "gauge leaps to full",
        "no design capacity told",
    ),
    row("level against the volts", "battery", "battery", "rest-level", "level far above the volts"),
    row(
        "percentage falls too fast",
        "doubtful-battery",
        "doubtful-battery",
        "drain",
        "gauge boasts a quarter",
        "gauge counts since the last full",
        "holds 45 of 57 Wh",
    ),
    row("percentage made up from volts", "battery", "battery", "holds-under-load", "level made from volts"),
    row(
        "high resistance, counter set back",
        "battery doubtful-battery",
        "battery",
        "cell-resistance",
        "high resistance, counter set back",
    ),
    row("cell groups out of step", "battery", "battery", "cells-in-step", "cell groups out of step"),
    row(
        "battery without a temperature sensor",
        "battery",
        "full-charge",
        "charge-to-full",
        "fixed resistor for a sensor",
    ),
    row("goes off well above empty", "doubtful-battery", "doubtful-battery", "drain", "goes off at 20 %"),
    row("holds far less, whatever it claims", "battery", "battery", "measured-capacity", "holds 18 Wh"),
    row("charged in the cold", FULL, "full-charge", "charge-to-full", "battery colder than freezing"),
    row(
        "meter counts from before",
        "doubtful-battery",
        "doubtful-battery",
        "meter-in",
        "meter not set to zero",
    ),
    row("clock held at a crawl", "battery", "battery", "brisk-on-charger", "clock held down"),
    row("battery too thick", "battery", "touchpad", "touchpad-level", "battery too thick"),
    row("touchpad hard over the battery", "battery", "touchpad", "touchpad-click", "battery too thick"),
    row("not recognised", "battery", "battery", "pack-present", "no battery"),
    row("refuses to charge", "battery", "battery", "pack-cell-voltage", "cells deeply empty"),
    row("stops charging half way", FULL, "full-charge", "charge-to-full", "refuses the charge at 80 %"),
    row("charges too slowly", FULL, "full-charge", "charge-power", "charger too weak"),
    row("charge limit not set back", FULL, "full-charge", "charge-limit-back", "charge limit left lifted"),
    row("says full, is empty", FULL, "every-repair", "runs-on-battery", "battery lead loose"),
    row("charger was the fault", FULL, "every-repair", "charger-seen", "charger dead"),
    row("stops at a middle value under load", "battery", "battery", "holds-under-load", "tired cells"),
    row("too light for its label", "battery", "battery", "pack-weight", "too light for its label"),
    row("label adds up to nothing", "battery", "battery", "label-sum", "label that boasts"),
    row("more energy than fits", "battery", "battery", "label-sum", "far more Wh in the same case"),
    row("used battery sold as new", "battery", "battery", "pack-twin", "used battery with a second label"),
    row("battery without its ears", "battery", "battery", "pack-twin", "ears missing"),
    # ---------------------------------------------------------------- feet
    row("foot on old tape", "feet", "feet", "foot-places", "old tape at a foot's place"),
    row("foot slides off", "feet", "feet", "feet-hold", "old foot adhesive"),
    row("screw under a foot left out", "feet", "feet", "foot-places", "screw below a foot left out"),
    row("feet changed over", "feet", "feet", "feet-placed", "front and rear feet changed over"),
    row("glue instead of tape", "feet", "feet", "feet-clean", "glue beside a foot"),
    row("stands on three feet", f"{BASE} feet", "every-repair", "stands-still", "one foot too low"),
    # ---------------------------------------------------------------- fan, heat sink, paste
    row(
        "heat-sink screw forgotten",
        "cooling main-board",
        "cooling",
        "sink-screws",
        "heat-sink screw forgotten",
    ),
    row("heat sink does not touch", "cooling", "cooling", "long-heat", "heat sink loose"),
    row("heat sink does not touch, any job", BASE, "every-repair", "heat-margin", "heat sink loose"),
    row("pad missing", "cooling main-board", "cooling", "pads-paste", "pad missing"),
    row("old film left on", "cooling main-board", "cooling", "pads-paste", "old film left on a pad"),
    row("too little paste", "cooling main-board", "cooling", "pads-paste", "too little paste"),
    row("dust left in the fins", "cooling main-board", "cooling", "fins-clear", "dust plug in the fins"),
    row("second fan stands", "cooling main-board", "cooling", "fans-as-arrived", "second fan stands"),
    row("clock taken back or held, ten minutes", "cooling", "cooling", "long-clock", "clock held at a crawl"),
    row("clock held down, any job", BASE, "every-repair", "clock-held", "clock held at a crawl"),
    row("no fan answers the heat", "cooling", "cooling", "fan-answers", "no fan turns"),
    row("pulse wire off", "cooling", "cooling", "fan-answers", "pulse wire of the fan left off"),
    row("pulse wire off, board", "main-board", "main-board", "board-fans", "fan at one speed"),
    row("board holds the clock", "main-board", "main-board", "board-clock", "clock held down by the board"),
    row("far hotter than on arrival", "cooling", "cooling", "heat-as-arrived", "hotter than on arrival"),
    row("no air from one side", "cooling main-board", "cooling", "fan-air", "second fan stands still"),
    row("fan at full speed for ever", "cooling main-board", "cooling", "fan-calms", "fan never calms down"),
    # ---------------------------------------------------------------- keyboard, deck, touchpad
    row("keys dead or double", "keyboard-deck", "keyboard-deck", "every-key", "key repeats"),
    row("power key dead", "keyboard-deck", "keyboard-deck", "power-key", "ribbon of the power key half in"),
    row("key light dark", "keyboard-deck", "keyboard-deck", "key-light", "ribbon of the key light forgotten"),
    row("frame not as firm", "keyboard-deck", "keyboard-deck", "deck-firm", "rivets left out"),
    row("wrong letters", "keyboard-deck", "keyboard-deck", "deck-right", "deck of another language"),
    row(
        "lid magnet not moved over",
        "keyboard-deck",
        "keyboard-deck",
        "lid-switch",
        "lid magnet left in the old deck",
    ),
    row(
        "microphone left off",
        "keyboard-deck",
        "keyboard-deck",
        "microphone",
        "microphone of the deck left off",
    ),
    row("key sticks next day", "liquid", "liquid", "keys-after-day", "tea in a key"),
    row("pointer gone after sleep", "touchpad", "touchpad", "touchpad-wakes", "ribbon lost at sleep"),
    row("earth of the touchpad left out", "touchpad", "touchpad", "touchpad-earth", "earth foil left out"),
    row("pointer jumps on the charger", "touchpad", "touchpad", "touchpad-lines", "earth foil on paint"),
    row("pointer jumps on battery", "touchpad", "touchpad", "touchpad-lines-unplugged", "left edge dead"),
    row("click height wrong", "touchpad", "touchpad", "touchpad-click", "click height wrong"),
    row("touchpad raised", "touchpad battery", "touchpad", "touchpad-level", "battery lifts the touchpad"),
    # ---------------------------------------------------------------- lid, hinge, camera
    row("panel lead not home", LID, "lid-opened", "lid-plugs", "panel lead half in"),
    row("tape of the panel lead left off", LID, "lid-opened", "lid-plugs", "panel lead without its tape"),
    row("panel plugged under power", LID, "lid-opened", "lid-power-off", "battery left in"),
    row("fuse of the light gone", LID, "lid-opened", "light-steps", "fuse of the light blown"),
    row("camera lead left off", LID, "lid-opened", "lid-plugs", "camera lead left off"),
    row("microphone found dead weeks later", LID, "lid-opened", "microphone", "microphone wire broken"),
    row("antenna lead squeezed in the lid", LID, "lid-opened", "radio-angles", "antenna lead torn inside"),
    row(
        "flicker with the lid's angle", LID, "lid-opened", "picture-steady", "panel lead broken in the hinge"
    ),
    row("lead caught in the hinge", LID, "lid-opened", "lid-lead-ways", "lid lead squeezed at the hinge"),
    row("lesser panel", "lid", "lid", "panel-as-arrived", "lesser panel"),
    row("panel without touch", "lid", "lid", "lid-part-right", "panel without touch layer"),
    row("frame strip stands off", LID, "lid-opened", "bezel-edges", "frame strip not pressed"),
    row("bright patch", LID, "lid-opened", "screen-patches", "lead behind the panel"),
    row("dust behind the glass", LID, "lid-opened", "screen-colours", "dust behind the glass"),
    row("too many dots", LID, "lid-opened", "screen-colours", "one dot too many"),
    row("screw post only glued", "hinge", "hinge", "posts-whole", "post only glued over"),
    row("corner opens again", "hinge", "hinge", "ten-openings", "insert spins"),
    row("stiff hinge tears the post", "hinge", "hinge", "hinge-turn", "hinge not eased"),
    row("hinge screws not tight", "hinge", "hinge", "hinge-screws", "hinge screw loose"),
    row("chips of plastic left in", "hinge", "base-opened", "nothing-loose", "chips of a post left inside"),
    row("lid crooked", "hinge", "hinge", "lid-corners", "lid crooked"),
    row("camera not seen", f"{BASE} {LID}", "every-repair", "parts-as-arrived", "camera lead off"),
    row("film on the lens", LID, "lid-opened", "camera-picture", "film left on the lens"),
    row("camera crooked", LID, "lid-opened", "camera-picture", "camera crooked"),
    row("shutter stuck", "lid", "lid", "camera-shutter", "shutter stuck open"),
    # ---------------------------------------------------------------- speakers
    row("one side buzzes", f"{BASE} {LID}", "every-repair", "sound", "cone torn"),
    row("sides changed over", "speakers", "every-repair", "sound", "speakers changed over"),
    row("screw on the magnet", "speakers", "speakers", "speaker-seat", "screw on a magnet"),
    row("crackle under the palm", "speakers", "speakers", "sound-pressed", "wire cracked below the palm"),
    # ---------------------------------------------------------------- storage, memory, wireless
    row("drive tilted", "storage", "storage", "drive-seated", "no post under the drive"),
    row("heat pad of the drive left off", "storage", "storage", "drive-seated", "heat pad left behind"),
    row("drive on fewer lanes", "storage", "storage", "drive-line", "one lane of four"),
    row(
        "start order lost",
        "storage main-board",
        "cold-start",
        "starts-cold",
        "network first in the start order",
    ),
    row(
        "asks for a recovery key",
        "storage main-board software-only",
        "cold-start",
        "second-start",
        "key's seal broken",
    ),
    row(
        "nobody has the recovery key",
        "storage main-board liquid software-only",
        "cold-start",
        "recovery-key",
        "recovery key lost",
    ),
    row("failing drive overlooked", "storage", "storage", "drive-health", "drive wearing out"),
    row("old drives mixed up", "storage", "storage", "old-drive-named", "bags mixed up"),
    row("module not latched", "memory", "memory", "module-latched", "latch open"),
    row("half the memory", "memory", "memory", "size-as-ordered", "socket dead"),
    row("other size than ordered", "memory", "memory", "size-as-ordered", "smaller module"),
    row("second module not seen", "memory", "memory", "channels-as-arrived", "second module not home"),
    row("modules in one channel", "memory", "memory", "channels-as-arrived", "both modules in one channel"),
    row("no start when cold", "memory", "cold-start", "starts-cold", "contact lets go when cold"),
    row("weak module", "memory", "memory", "memory-pass", "weak cell"),
    row("works on the bench only", "wireless", "wireless", "radio-far", "main antenna lead broken"),
    row(
        "far weaker than before",
        f"{BASE} {LID}",
        "every-repair",
        "radio-as-arrived",
        "antenna lead beside its socket",
    ),
    row("antennas changed over", "wireless", "wireless", "antenna-places", "antenna leads changed over"),
    row("headset drops out", "wireless", "wireless", "headset-far", "second antenna lead broken"),
    row("radio switched off", "wireless", "every-repair", "network", "radio switched off"),
    row("comes and goes", "wireless", "wireless", "radio-tapped", "card contact shaky"),
    # ---------------------------------------------------------------- charging port
    row("cracked joint", "charging-port", "charging-port", "port-joints", "cracked joint"),
    row(
        "flips to battery when touched",
        "charging-port",
        "charging-port",
        "charger-steady",
        "pins let go three times",
    ),
    row("flickers when touched", "charging-port", "charging-port", "plug-wiggle", "pin springs away"),
    row("bracket left out", "charging-port", "charging-port", "port-bracket", "bracket left out"),
    row("socket gives way", "charging-port", "charging-port", "plug-cycles", "worn socket"),
    row("one way round weak", "charging-port", "charging-port", "power-first-way", "next to no power"),
    row("hot contact", "charging-port", "charging-port", "plug-warm", "hot pin"),
    row("data lines dead", "charging-port", "charging-port", "port-shared", "data line dead"),
    row("picture lines dead", "charging-port", "charging-port", "port-shared", "picture line dead"),
    row("socket beside it torn", "charging-port", "charging-port", "near-sockets", "fan socket torn"),
    # ---------------------------------------------------------------- main board, liquid
    row("any plug forgotten", "main-board liquid", "main-board", "plugs-ticked", "camera plug forgotten"),
    row("serial not carried over", "main-board", "main-board", "board-named", "serial empty"),
    row("licence lost", "main-board", "main-board", "licence-kept", "licence lost"),
    row("locked by a word", "main-board", "main-board", "firmware-opens", "locked by a word"),
    row(
        "locked to an account", "main-board software-only", "cold-start", "owner-lock", "locked to an account"
    ),
    row("fails only when hot", "main-board", "main-board", "board-heat", "heat sink not down"),
    row("fails only when cold", "main-board", "cold-start", "starts-cold", "contact lets go when cold"),
    row("fails after sleep", "main-board liquid", "main-board", "three-sleeps", "sleep supply weak"),
    row("short warranty not told", "main-board", "main-board", "board-risk-told", "warranty not told"),
    row("clock cell left out", "main-board liquid", "main-board", "clock-cell", "clock battery left out"),
    row("asks for settings at the start", f"{BASE} {LID}", "every-repair", "started-clean", "settings lost"),
    row("clock lost while it was unplugged", BASE, "base-opened", "clock-kept", "clock not kept"),
    row("clock lost with the lid's power off", LID, "lid-opened", "clock-kept", "clock lost in the lid job"),
    row("film or post left out", "main-board liquid", "main-board", "under-board", "film left out"),
    row(
        "worked before, dead now",
        "main-board liquid",
        "main-board",
        "works-as-before",
        "touchpad socket cracked",
    ),
    row("residue under a shield", "liquid", "liquid", "board-clean", "crust under a shield"),
    row("dead after days", "liquid", "liquid", "starts-after-day", "corrosion under a chip"),
    row("stain spreads in the panel", "liquid", "liquid", "screen-after-day", "stain in the panel"),
    row("damp speaker", "liquid", "liquid", "sound-after-day", "damp cone"),
    row("plug contacts corroded", "liquid", "liquid", "contacts-bright", "contacts green"),
    row("wet battery kept", "liquid", "liquid", "battery-stains", "battery was wet"),
    row("flat in the morning", "liquid", "liquid", "charge-kept", "film on the board"),
    # ---------------------------------------------------------------- at the counter
    row("new scratch", "", "every-repair", "no-new-mark", "scratch"),
    row("tape glue, prints, dust", "", "every-repair", "wiped-clean", "tape glue on the lid"),
    row("charger not given back", "", "every-repair", "nothing-kept", "charger forgotten"),
    row("same fault again", "", "every-repair", "complaint-gone", "trouble still there"),
    row("bulging machine taken on", "", "every-repair", "first-look", "battery swollen"),
    row(
        "data gone",
        "storage main-board liquid software-only",
        "cold-start",
        "data-kept",
        "only copy of the data",
    ),
    row(
        "written to the owner's drive",
        "storage software-only",
        "cold-start",
        "tool-on-stick",
        "tool copied to the owner's drive",
    ),
    row("settings lost", "software-only", "software-only", "settings-back", "charge limit lost"),
    row("update as the last touch", "software-only", "software-only", "updates-settled", "update half done"),
    row("late faults not told", "liquid", "liquid", "delay-told", "late faults not told"),
)

# What cannot be undone cheaply, and a check that must be good before it.
ORDER = (
    ("feet before the seams are read", "battery feet", "seam-gaps", "fit-feet"),
    ("feet before the heat was tried", "cooling feet", "long-heat", "fit-feet"),
    ("feet before the full charge", "battery feet", "charge-to-full", "fit-feet"),
    ("charged on before the load was tried", "battery", "holds-under-load", "go-on-charging"),
    ("sockets tried while the plug is moved", "charging-port", "charger-steady", "try-sockets"),
    ("drained after the full charge", "doubtful-battery", "drain", "go-on-charging"),
    ("volts at rest read after the charge", "battery", "rest-level", "charge"),
    ("seams read before the charge", "battery", "charge-to-full", "end-charge"),
    ("gap pulled shut by screws", "base-cover", "cover-flush", "screw-base"),
    ("battery plugged before its label was read", "battery", "pack-label", "connect-pack"),
    ("battery plugged before its volts were read", "battery", "pack-volts", "connect-pack"),
    ("panel plugged under power", "lid", "lid-power-off", "connect-panel"),
    ("board plugs pushed home under power", "main-board", "plugs-ticked", "connect-pack"),
    ("memory seated under power", "memory", "module-latched", "connect-pack"),
    ("drive seated under power", "storage", "drive-seated", "connect-pack"),
    ("port touched under power", "charging-port", "port-joints", "connect-pack"),
    ("card seated under power", "wireless", "card-seat", "connect-pack"),
    ("frame pressed home before the lid was moved", "lid", "picture-steady", "press-bezel"),
    ("sink put on before the fins were seen", "cooling", "fins-clear", "seat-sink"),
    ("battery looked at after the tools were near it", "cooling", "pack-flat", "seat-sink"),
    ("board put in before films and posts were seen", "main-board", "under-board", "fit-board"),
    ("old parts given away before the end", "battery feet", "nothing-kept", "push-feet"),
    ("update after the checks", "software-only", "updates-settled", "finish"),
    ("memory tried warm only", "memory", "starts-cold", "finish"),
    ("drive tried warm only", "storage", "starts-cold", "finish"),
    ("charge limit not restored", "battery", "charge-limit-back", "finish"),
    ("day of soaking after the sign-off", "liquid", "keys-after-day", "finish"),
    ("wiped after the feet were pushed", "battery feet", "wiped-clean", "push-feet"),
)

LEFT_OUT = {
    "swells within weeks, good at first": "cannot be shown in hours; size, level and seams are looked at",
    "full far above design": "never bad by itself; the figure is told beside the capacity",
    "old stock": "told by the capacity and by the volts; a date of making is not on every label",
    "reproduction battery not told": "no check: the ticket holds the part's source, and the report tells it",
    # Against arrival.
    "somewhat hotter under load than on arrival": "no load is run on arrival; at rest a gross change shows",
    "fan faster or slower than on arrival": "not judged on purpose: paste and room change it; heard and felt",
    "heat only after an hour, third visit": "a load ends at half an hour; no ticket tells of an earlier one",
    "no before-state": "no check: taken on arrival, and the report says where it was not",
    # Not at the machine.
    "drive stalls when warm": "no check reads 2 GB; seat, lanes and the drive's own counts are looked at",
    "discharge after the full charge": "no list discharges after it; the plug is pulled for a minute",
    "air freight at full charge": "no check: the ticket says how the machine travels",
    "seal over the screws before the signature": "no check: it comes after the last one",
    "warranty shorter than expected": "no check, but of a board; paper of the shop",
}


@cache
def composed(work: str) -> Composition:
    return compose(SHIPPED.values(), work.split())


def shown_by(check: str, fault: str) -> bool:
    return any(specimen.faults == (fault,) and check in specimen.caught_by for specimen in SPECIMENS)


def id_of(comeback: Comeback) -> str:
    return comeback.name


@pytest.mark.parametrize("comeback", COMEBACKS, ids=id_of)
def test_a_fault_that_comes_back_is_asked_for_in_its_job(comeback: Comeback) -> None:
    assert comeback.check in {check.id for check in SHIPPED[comeback.checklist].checks}
    for work in comeback.work:
        asked = {check.id for check in composed(work).checks}
        assert comeback.check in asked, f"not asked for in {work or 'a job that opens nothing'}"


@pytest.mark.parametrize("comeback", COMEBACKS, ids=id_of)
def test_a_machine_with_the_fault_is_caught_by_the_check(comeback: Comeback) -> None:
    assert comeback.by
    for fault in comeback.by:
        assert shown_by(comeback.check, fault), fault


@pytest.mark.parametrize(("trap", "work", "check", "step"), ORDER, ids=[row[0] for row in ORDER])
def test_what_a_step_would_hide_or_break_is_good_before_it(
    trap: str, work: str, check: str, step: str
) -> None:
    composition = composed(work)
    assert check in {each.id for each in composition.guards(step)}, trap
    steps = [each.id for each in composition.steps]
    asked_in = next(
        index
        for index, segment in enumerate(composition.segments)
        if check in {each.id for each in segment.checks}
    )
    assert asked_in <= steps.index(step), trap


def test_no_fault_is_told_twice_and_none_is_both_caught_and_left_out() -> None:
    names = [comeback.name for comeback in COMEBACKS]
    assert len(names) == len(set(names))
    assert not set(names) & set(LEFT_OUT)


def unnamed() -> Sequence[str]:
    told = {comeback.check for comeback in COMEBACKS}
    return [check.id for checklist in SHIPPED.values() for check in checklist.checks if check.id not in told]


def test_every_check_is_there_for_a_fault_that_comes_back() -> None:
    """A check for nothing that comes back is a minute that no bench has: name its fault, or why."""
    other = {
        # Waits: they catch nothing, they make the looks behind them worth something.
        *("off-ten-minutes", "a-day", "ten-minutes-in", "feet-wait", "bezel-wait"),
        # What the work itself may have done, or what a fault above looks like from another side.
        *("keys-again", "board-dry", "free-ports", "drive-size", "card-seat", "lid-stays", "behind-frame"),
        *("picture-again", "devices-driven", "only-as-told"),
        # Values that a person measures, for an automatic check to judge.
        *("pack-grams", "meter-wh"),
        # Whoever asks a year later how it was left sees it.
        "open-picture",
    }
    assert set(unnamed()) <= other
