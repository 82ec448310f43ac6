"""Every way in which firmware and drivers were seen to give nonsense, through the unmodified command.

The kinds of fault come from public issue threads of general-purpose projects and from the Linux kernel's own
drivers (drivers/acpi/battery.c) and ABI texts; makers and serials are invented. Each row makes a tree, runs
`handback probe --sysfs TREE --json` and asserts what must come out.
"""

import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from verify.cli import main
from verify.machine import open_machine
from verify.machine.series import Moment, charging_share, is_stuck, leaps, rate_disagrees, slope_w
from verify.testing.sysfs_tree import CHARGE_PACK, ENERGY_PACK, SysfsTree

Told = dict[str, Any]
ROWS: dict[str, Callable[["Bench"], None]] = {}


class Bench:
    """A made tree and the command that reads it."""

    def __init__(self, root: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.tree = SysfsTree(root)
        self._capsys = capsys

    def probe(self) -> Told:
        with pytest.raises(SystemExit) as ended:
            main(["probe", "--sysfs", str(self.tree.root), "--json"])
        assert ended.value.code in (0, 3)
        told: Told = json.loads(self._capsys.readouterr().out)
        return told

    def pack(self) -> Told:
        batteries = self.probe()["batteries"]
        assert len(batteries) == 1
        pack: Told = batteries[0]
        return pack

    def moments(self, step_s: float, **series: Sequence[str]) -> list[Moment]:
        """Read the pack every step_s through one open machine, with the attributes changed each time."""
        machine = open_machine(sysfs=self.tree.root)
        found = []
        for step, values in enumerate(zip(*series.values(), strict=True)):
            self.tree.battery(base={**ENERGY_PACK, **dict(zip(series, values, strict=True))})
            found.append(Moment(elapsed_s=step * step_s, pack=machine.sample().packs[0]))
        return found


def falling(count: int, step_uwh: int) -> list[str]:
    return [str(31_040_000 - step_uwh * step) for step in range(count)]


def row(name: str) -> Callable[[Callable[[Bench], None]], Callable[[Bench], None]]:
    def register(check: Callable[[Bench], None]) -> Callable[[Bench], None]:
        ROWS[name] = check
        return check

    return register


@row("01-full-above-design-is-reported-as-it-is")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full_design="41600000", energy_full="42300000", energy_now="21000000")
    pack = bench.pack()
    assert pack["health"] == pytest.approx(42.3 / 41.6, abs=1e-4)
    assert "health" not in pack["reasons"]


@row("01-full-a-fifth-above-design-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full_design="50000000", energy_full="60500000")
    pack = bench.pack()
    assert pack["health"] == pytest.approx(1.21)
    assert "not learned" in pack["reasons"]["health"]


@row("02-full-three-times-design-cannot-be-judged")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full_design="42000000", energy_full="121270000", energy_now="121270000")
    pack = bench.pack()
    assert pack["health"] is None
    assert pack["full_charge_wh"] is None
    assert pack["state_of_charge"] is None
    assert pack["remaining_wh"] is None
    assert "Restart" in pack["reasons"]["health"]


@row("02-full-a-quarter-above-design-is-the-edge")
def _(bench: Bench) -> None:
    for full, known in (("62500000", True), ("62600000", False)):
        bench.tree.battery(energy_full_design="50000000", energy_full=full)
        assert (bench.pack()["full_charge_wh"] is not None) is known


@row("03-tiny-full-with-few-cycles-is-suspect-not-dead")
def _(bench: Bench) -> None:
    bench.tree.battery(
        energy_full_design="51528000",
        energy_full="3906400",
        energy_now="3724000",
        cycle_count="20",
        voltage_min_design="14800000",
        voltage_now="14280000",
        power_now="2000000",
    )
    pack = bench.pack()
    assert pack["health"] == pytest.approx(0.0758, abs=1e-4)
    assert "wrong gauge" in pack["reasons"]["health"]


@row("04-full-equal-to-design-without-cycles-is-not-measured")
def _(bench: Bench) -> None:
    bench.tree.battery(
        base=CHARGE_PACK,
        charge_full_design="7894000",
        charge_full="7894000",
        cycle_count="0",
        voltage_min_design="7600000",
        voltage_now="8100000",
    )
    pack = bench.pack()
    assert "Not measured" in pack["reasons"]["health"]
    assert "Not measured" in pack["reasons"]["full_charge_wh"]


@row("04-full-equal-to-design-in-a-new-pack-is-its-label")
def _(bench: Bench) -> None:
    for cycles, doubted in (("50", False), ("51", True)):
        bench.tree.battery(energy_full="57000000", cycle_count=cycles)
        assert ("health" in bench.pack()["reasons"]) is doubted


@row("05-health-comes-from-the-kernel-not-from-a-cached-full")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full_design="61926000", energy_full="52945200")
    assert bench.pack()["health"] == pytest.approx(0.854975, abs=1e-4)


@row("06-one-bad-full-does-not-latch")
def _(bench: Bench) -> None:
    machine = open_machine(sysfs=bench.tree.root)
    bench.tree.battery(energy_full="484000000", energy_full_design="54000000")
    assert machine.sample().packs[0].full_charge_wh is None
    bench.tree.battery(energy_full="50100000", energy_full_design="54000000")
    assert machine.sample().packs[0].full_charge_wh == pytest.approx(50.1)
    assert bench.pack()["full_charge_wh"] == pytest.approx(50.1)


@row("07-level-above-full-is-full-and-not-above-one")
def _(bench: Bench) -> None:
    bench.tree.battery(
        base=CHARGE_PACK,
        charge_full_design="7570000",
        charge_full="7140000",
        charge_now="7570000",
        capacity="106",
        status="Full",
        current_now="0",
        voltage_min_design="7600000",
        voltage_now="8600000",
    )
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state_of_charge"] == 1.0
    assert pack["state"] == "full"
    assert pack["remaining_wh"] > pack["full_charge_wh"]


@row("08-level-is-now-over-full-and-health-full-over-design")
def _(bench: Bench) -> None:
    bench.tree.battery(
        energy_now="8300000", energy_full="25500000", energy_full_design="38920000", power_now="9000000"
    )
    pack = bench.pack()
    assert pack["state_of_charge"] == pytest.approx(8.30 / 25.50, abs=1e-4)
    assert pack["health"] == pytest.approx(25.50 / 38.92, abs=1e-4)


@row("09-unknown-in-the-middle-on-the-charger-is-holding")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Unknown", power_now="0")
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state"] == "holding"
    assert pack["power_w"] == 0


@row("09-unknown-in-the-middle-without-word-of-a-charger-stays-unknown")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Unknown", power_now="0")
    pack = bench.pack()
    assert pack["state"] == "unknown"
    assert "charger" in pack["reasons"]["state"]


@row("10-a-trickle-of-one-milliampere-is-nothing-and-the-pack-is-full")
def _(bench: Bench) -> None:
    bench.tree.battery(
        base=CHARGE_PACK,
        status="Unknown",
        current_now="1000",
        charge_now="3328000",
        charge_full="3328000",
        charge_full_design="4000000",
        voltage_now="12439000",
    )
    pack = bench.pack()
    assert pack["state"] == "full"
    assert pack["power_w"] == 0
    assert pack["current_a"] == 0
    assert pack["health"] == pytest.approx(0.832)


@row("11-discharging-at-nothing-on-the-charger-is-holding")
def _(bench: Bench) -> None:
    bench.tree.battery(
        base=CHARGE_PACK,
        status="Discharging",
        current_now="0",
        charge_now="3958000",
        charge_full="4123000",
        charge_full_design="4240000",
    )
    bench.tree.adapter()
    assert bench.pack()["state"] == "holding"


@row("12-charging-at-nothing-at-97-per-cent-is-the-end-of-the-charge")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="0", energy_now="48374000")
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state"] == "holding"
    assert "end of the charge" in pack["reasons"]["state"]


@row("12-charging-at-nothing-at-100-per-cent-is-full")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="0", energy_now="49870000")
    bench.tree.adapter()
    assert bench.pack()["state"] == "full"


@row("12-charging-at-nothing-just-below-full-is-full")
def _(bench: Bench) -> None:
    for now, state in (("49670000", "full"), ("49570000", "holding")):
        bench.tree.battery(status="Charging", power_now="0", energy_now=now)
        bench.tree.adapter()
        assert bench.pack()["state"] == state


@row("12-charging-at-nothing-half-way-is-not-charging")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="0")
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state"] == "holding"
    assert "look into it" in pack["reasons"]["state"]


@row("12-full-while-it-takes-in-18-watts-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Full", power_now="18000000", energy_now="49870000", capacity="100")
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state"] == "full"
    assert "still 18 W flow" in pack["reasons"]["state"]


@row("12-full-at-the-end-of-the-taper-is-full")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Full", power_now="2400000", energy_now="49870000", capacity="100")
    bench.tree.adapter()
    assert "state" not in bench.pack()["reasons"]


@row("13-a-hundredth-of-a-watt-is-nothing-and-no-time-is-told")
def _(bench: Bench) -> None:
    bench.tree.battery(power_now="10000")
    told = bench.probe()
    assert told["batteries"][0]["power_w"] == 0
    assert "time" not in json.dumps(list(told["batteries"][0]))


@row("14-not-charging-keeps-its-second-word-and-is-holding")
def _(bench: Bench) -> None:
    bench.tree.battery(
        status="Not charging", power_now="0", energy_now="39896000", charge_control_end_threshold="80"
    )
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state"] == "holding"
    assert pack["charge_limit"] == 0.8


@row("14-an-older-name-of-the-charge-limit-is-read-from-its-own-file")
def _(bench: Bench) -> None:
    bench.tree.battery(charge_start_threshold="60", charge_stop_threshold="90")
    assert bench.pack()["charge_limit"] == 0.9


@row("15-a-flapping-state-shows-as-its-share-of-time")
def _(bench: Bench) -> None:
    bench.tree.adapter()
    moments = bench.moments(5, status=["Not charging", "Charging"] * 4, power_now=["0", "6000000"] * 4)
    assert charging_share(moments) == 0.5
    assert bench.pack()["state"] == "charging"


@row("16-a-rate-that-fails-to-read-is-unknown-not-nothing")
def _(bench: Bench) -> None:
    bench.tree.battery(unreadable=("power_now",))
    pack = bench.pack()
    assert pack["power_w"] is None
    assert "power_now" in pack["reasons"]["power_w"]
    assert pack["state"] == "discharging"


@row("16-without-a-rate-the-slope-of-the-energy-tells-it")
def _(bench: Bench) -> None:
    moments = bench.moments(60, energy_now=falling(4, 150_000))
    assert slope_w(moments) == pytest.approx(-9.0)
    assert bench.pack()["remaining_wh"] == pytest.approx(30.59)


@row("16-a-current-that-fails-to-read-is-named")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, unreadable=("current_now",))
    pack = bench.pack()
    assert pack["power_w"] is None
    assert "current_now" in pack["reasons"]["power_w"]


@row("17-energy-files-become-charge-files-between-two-readings")
def _(bench: Bench) -> None:
    machine = open_machine(sysfs=bench.tree.root)
    bench.tree.battery()
    assert machine.sample().packs[0].full_charge_wh == pytest.approx(49.87)
    bench.tree.battery(base=CHARGE_PACK)
    after = machine.sample().packs[0]
    assert after.full_charge_wh == pytest.approx(4.375 * 11.4)
    assert "full_charge_wh" in after.estimated
    assert bench.pack()["power_w"] == pytest.approx(-0.704 * 11.65, abs=1e-3)


@row("18-a-design-capacity-that-fails-to-read-leaves-health-unknown")
def _(bench: Bench) -> None:
    bench.tree.battery(unreadable=("energy_full_design",))
    pack = bench.pack()
    assert pack["design_wh"] is None
    assert pack["health"] is None
    assert "energy_full_design" in pack["reasons"]["health"]
    assert pack["state_of_charge"] == pytest.approx(31.04 / 49.87, abs=1e-4)


@row("19-a-random-rate-disagrees-with-the-slope")
def _(bench: Bench) -> None:
    rates = ("800000", "61000000", "45000000", "52000000", "3000000")
    moments = bench.moments(60, power_now=rates, energy_now=falling(5, 100_000))
    assert slope_w(moments) == pytest.approx(-6.0)
    assert rate_disagrees(moments) is True
    assert bench.pack()["power_w"] == -3.0


@row("20-a-constant-rate-disagrees-with-the-slope")
def _(bench: Bench) -> None:
    moments = bench.moments(60, power_now=["8200000"] * 5, energy_now=falling(5, 500_000))
    assert rate_disagrees(moments) is True
    assert bench.pack()["power_w"] == -8.2


@row("20-no-power-beside-a-current-is-not-nothing")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="0", current_now="2000000", voltage_now="12000000")
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["state"] == "charging"
    assert pack["current_a"] == 2.0
    for field in ("power_w", "current_a"):
        assert "0 W, but current × voltage is 24 W" in pack["reasons"][field]


@row("20-a-power-beside-no-current-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(power_now="8200000", current_now="0")
    assert "one of them is wrong" in bench.pack()["reasons"]["power_w"]


@row("20-power-and-current-that-agree-by-half-are-left-alone")
def _(bench: Bench) -> None:
    # 0.704 A × 11.65 V = 8.2 W; a driver may average one of them over a longer time.
    for power_uw in ("8200000", "4200000", "16000000"):
        bench.tree.battery(power_now=power_uw, current_now="704000")
        assert not {"power_w", "current_a"} & bench.pack()["reasons"].keys()


@row("21-a-wrapped-milliampere-rate-is-unwrapped-and-said-so")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, current_now=str(0xFC18 * 1000))
    pack = bench.pack()
    assert pack["current_a"] == -1.0
    assert pack["power_w"] == pytest.approx(-11.65)
    assert "16-bit" in pack["reasons"]["current_a"]


@row("21-a-wrapped-nothing-is-nothing")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, current_now="65536000")
    assert bench.pack()["current_a"] == 0


@row("21-a-wrapped-milliwatt-rate-above-what-the-charger-gives-is-unwrapped")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="65000000")
    bench.tree.adapter("usb-in-1", kind="USB", voltage_max="20000000", current_max="2000000")
    assert bench.pack()["power_w"] == pytest.approx(0.536)


@row("21-a-plausible-64-watts-is-left-as-it-is")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Discharging", power_now="64000000")
    assert bench.pack()["power_w"] == -64.0


@row("21-a-current-that-cannot-be-makes-no-power-and-a-power-no-current")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, current_now="19000000", voltage_now="12000000")
    pack = bench.pack()
    assert pack["power_w"] is None
    assert "228 W is more than this pack" in pack["reasons"]["power_w"]
    bench.tree.battery(current_now="25000000")
    pack = bench.pack()
    assert (pack["power_w"], pack["current_a"]) == (-8.2, None)
    assert "25 A is more than" in pack["reasons"]["current_a"]


@row("21-a-worn-pack-may-take-what-it-was-made-for")
def _(bench: Bench) -> None:
    # 12 Wh left of 57: more than 2 C of what it holds, half a C of what it was made for.
    bench.tree.battery(status="Charging", power_now="28400000", energy_full="12000000", energy_now="5000000")
    bench.tree.adapter()
    assert bench.pack()["power_w"] == 28.4


@row("22-a-negative-64-bit-number-printed-unsigned-is-negative")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, status="Unknown", current_now=str(2**64 - 483_000))
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["current_a"] == -0.483
    assert pack["power_w"] == pytest.approx(-0.483 * 11.65, abs=1e-3)


@row("23-the-sign-comes-from-the-status-when-the-driver-signs")
def _(bench: Bench) -> None:
    bench.tree.battery(power_now="-4721000", current_now="-386000", voltage_now="12233000")
    pack = bench.pack()
    assert pack["power_w"] == -4.721
    assert pack["current_a"] == -0.386


@row("23-the-sign-comes-from-the-status-when-the-driver-does-not-sign")
def _(bench: Bench) -> None:
    bench.tree.battery(power_now="4721000", current_now="386000", voltage_now="12233000")
    pack = bench.pack()
    assert pack["power_w"] == -4.721
    assert pack["current_a"] == -0.386


@row("23-charging-with-a-negative-rate-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="-4721000")
    bench.tree.adapter()
    assert "going out" in bench.pack()["reasons"]["power_w"]


@row("23-a-current-alone-without-a-direction-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, status="Unknown", without=("voltage_now", "voltage_min_design"))
    bench.tree.adapter()
    pack = bench.pack()
    assert (pack["current_a"], pack["power_w"]) == (None, None)
    assert "does not say which way" in pack["reasons"]["current_a"]


@row("24-a-charge-pack-is-not-a-pack-of-no-energy")
def _(bench: Bench) -> None:
    bench.tree.battery(
        base=CHARGE_PACK,
        charge_full_design="4474000",
        charge_full="3750000",
        charge_now="3692000",
        current_now="413000",
        voltage_now="12729000",
    )
    pack = bench.pack()
    assert pack["health"] == pytest.approx(0.838, abs=5e-4)
    assert pack["power_w"] == pytest.approx(-5.257, abs=1e-3)
    assert pack["full_charge_wh"] == pytest.approx(3.750 * 11.4)


@row("25-charge-is-converted-with-the-design-voltage-and-said-so")
def _(bench: Bench) -> None:
    seen = set()
    for voltage in ("11100000", "11900000", "12600000"):
        bench.tree.battery(base=CHARGE_PACK, voltage_now=voltage)
        pack = bench.pack()
        seen.add(pack["full_charge_wh"])
        assert pack["reasons"]["full_charge_wh"].startswith("Estimate:")
    assert seen == {4.375 * 11.4}


@row("25-a-highest-voltage-in-place-of-the-design-voltage-is-brought-to-nominal")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, without=("voltage_min_design",), voltage_max_design="12600000")
    assert bench.pack()["full_charge_wh"] == pytest.approx(4.375 * 11.1, abs=1e-3)


@row("26-a-change-of-unit-voids-the-series")
def _(bench: Bench) -> None:
    machine = open_machine(sysfs=bench.tree.root)
    found = []
    for step in range(4):
        if step < 2:
            bench.tree.battery()
        else:
            bench.tree.battery(base=CHARGE_PACK)
        found.append(Moment(elapsed_s=60.0 * step, pack=machine.sample().packs[0]))
    assert slope_w(found) is None
    assert bench.pack()["remaining_wh"] == pytest.approx(2.723 * 11.4, abs=1e-3)


@row("27-two-packs-are-told-each-for-itself")
def _(bench: Bench) -> None:
    bench.tree.battery("BAT0", status="Not charging", power_now="0", energy_now="40000000")
    bench.tree.battery(
        "BAT1",
        energy_full_design="24000000",
        energy_full="20000000",
        energy_now="10000000",
    )
    bench.tree.adapter(online="0")
    inner, outer = bench.probe()["batteries"]
    assert (inner["state"], inner["power_w"]) == ("holding", 0)
    assert (outer["state"], outer["power_w"]) == ("discharging", -8.2)
    assert inner["state_of_charge"] == pytest.approx(40 / 49.87, abs=1e-4)
    assert outer["state_of_charge"] == 0.5


@row("28-only-a-second-pack-exists")
def _(bench: Bench) -> None:
    bench.tree.battery("BAT1")
    assert bench.pack()["name"] == "BAT1"


@row("28-a-pack-with-a-driver's-own-name")
def _(bench: Bench) -> None:
    bench.tree.battery("main_fuel_gauge")
    assert bench.pack()["name"] == "main_fuel_gauge"


@row("29-a-pen's-battery-is-not-the-laptop's")
def _(bench: Bench) -> None:
    bench.tree.battery()
    bench.tree.supply("wacom_battery_0", {"type": "Battery", "status": "Discharging", "capacity": "58"})
    bench.tree.supply(
        "hidpp_battery_1", {"type": "Battery", "scope": "Device", "online": "1", "capacity": "100"}
    )
    pack = bench.pack()
    assert pack["name"] == "BAT0"
    assert pack["state_of_charge"] == pytest.approx(31.04 / 49.87, abs=1e-4)


@row("30-a-digitiser-alone-is-no-battery")
def _(bench: Bench) -> None:
    bench.tree.supply(
        "hid-0018:0A11:2841.0002-battery", {"type": "Battery", "status": "Unknown", "capacity": "1"}
    )
    told = bench.probe()
    assert told["batteries"] == []
    assert told["reasons"]["batteries"].startswith("No battery is visible")


@row("31-nothing-for-a-second-after-resume-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_now="0", capacity="0")
    pack = bench.pack()
    assert "read again" in pack["reasons"]["state_of_charge"]
    assert "read again" in pack["reasons"]["remaining_wh"]


@row("32-no-rate-in-the-moment-after-plugging-in-is-not-a-failure")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Charging", power_now="0", capacity_level="Low")
    bench.tree.adapter()
    pack = bench.pack()
    assert pack["power_w"] == 0
    assert "Wait 90 s" in pack["reasons"]["state"]


@row("33-discharging-with-a-rate-that-lags-divides-by-nothing")
def _(bench: Bench) -> None:
    bench.tree.battery(status="Discharging", power_now="0")
    bench.tree.adapter(online="0")
    pack = bench.pack()
    assert pack["state"] == "discharging"
    assert pack["power_w"] == 0


@row("34-a-stuck-gauge-is-seen-in-the-series")
def _(bench: Bench) -> None:
    bench.tree.adapter(online="0")
    moments = bench.moments(60, energy_now=["10971400"] * 7, power_now=["6000000"] * 7)
    assert is_stuck(moments) is True
    assert bench.pack()["state_of_charge"] == pytest.approx(0.22)


@row("35-a-level-that-leaps-is-seen-in-the-series")
def _(bench: Bench) -> None:
    moments = bench.moments(10, energy_now=["31040000", "0", "12000000", "11990000"])
    assert leaps(moments) == (10.0, 20.0)
    assert bench.pack()["state_of_charge"] == pytest.approx(11.99 / 49.87, abs=1e-4)


@row("36-a-pack-that-goes-away-is-told-and-never-a-crash")
def _(bench: Bench) -> None:
    machine = open_machine(sysfs=bench.tree.root)
    bench.tree.battery()
    assert len(machine.sample().packs) == 1
    bench.tree.remove_supply("BAT0")
    assert machine.sample().packs == ()
    told = bench.probe()
    assert told["batteries"] == []
    assert "check its connector" in told["reasons"]["batteries"]


@row("36-an-empty-bay-is-told")
def _(bench: Bench) -> None:
    bench.tree.supply("BAT1", {"type": "Battery", "present": "0"})
    told = bench.probe()
    assert told["batteries"] == []
    assert "no contact" in told["reasons"]["batteries.BAT1"]


@row("36-an-entry-whose-folder-is-gone-is-told")
def _(bench: Bench) -> None:
    (bench.tree.root / "class/power_supply/BAT0").symlink_to("../../devices/gone")
    told = bench.probe()
    assert told["batteries"] == []
    assert "went away" in told["reasons"]["batteries.BAT0"]
    assert "went away" in told["reasons"]["batteries"]


@row("36-a-supply-of-no-kind-is-not-a-missing-battery")
def _(bench: Bench) -> None:
    bench.tree.supply("BAT0", {"status": "Discharging", "capacity": "60"})
    assert "its kind cannot be told" in bench.probe()["reasons"]["batteries"]


@row("37-an-overflowed-percentage-is-not-used")
def _(bench: Bench) -> None:
    bench.tree.battery(capacity="-1496999936")
    assert bench.pack()["state_of_charge"] == pytest.approx(31.04 / 49.87, abs=1e-4)
    bench.tree.battery(capacity="-1496999936", without=("energy_now",))
    pack = bench.pack()
    assert pack["state_of_charge"] is None
    assert "cannot be a level" in pack["reasons"]["state_of_charge"]


@row("38-no-cycles-counted-is-not-a-new-pack")
def _(bench: Bench) -> None:
    bench.tree.battery(cycle_count="0")
    pack = bench.pack()
    assert pack["cycle_count"] is None
    assert "does not count" in pack["reasons"]["cycle_count"]


@row("39-an-empty-model-is-unknown-and-a-padded-serial-is-stripped")
def _(bench: Bench) -> None:
    bench.tree.battery(model_name="", serial_number="  973", manufacturer="Fen\x01nel\udcff")
    pack = bench.pack()
    assert pack["model"] is None
    assert pack["reasons"]["model"]
    assert pack["serial"] == "973"
    assert pack["manufacturer"] == "Fennel"


@row("40-health-comes-from-one-reading-of-full-and-design")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full="83995200", energy_full_design="87055300", energy_now="50000000")
    assert bench.pack()["health"] == pytest.approx(0.96485, abs=1e-4)


def _sensors(bench: Bench) -> list[Told]:
    sensors: list[Told] = bench.probe()["temperatures"]
    return sensors


@row("41-zero-kelvin-is-no-reading-and-sound-limits-stay")
def _(bench: Bench) -> None:
    bench.tree.hwmon(
        0, "nvme", temp1_input="-273150", temp1_label="Composite", temp1_max="69850", temp1_crit="69850"
    )
    told = bench.probe()
    assert told["temperatures"] == [
        {"chip": "nvme", "label": "Composite", "celsius": None, "high": 69.85, "critical": 69.85}
    ]
    assert "no data" in told["reasons"]["temperatures.nvme.Composite"]


@row("42-absurd-limits-are-unknown")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "nvme", temp1_input="36850", temp1_max="65261850", temp1_crit="-273150")
    (sensor,) = _sensors(bench)
    assert (sensor["celsius"], sensor["high"], sensor["critical"]) == (36.85, None, None)


@pytest.mark.parametrize("raw", ["127000", "127500", "121000"])
def test_an_input_that_is_not_connected_reads_as_unknown(raw: str, bench: Bench) -> None:
    bench.tree.hwmon(0, "board", temp2_input=raw, temp2_max="127000")
    (sensor,) = _sensors(bench)
    assert sensor["celsius"] is None
    assert sensor["high"] is None


@row("43-an-input-that-is-not-connected")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "board", temp1_input="41000", temp2_input="127000")
    assert [sensor["celsius"] for sensor in _sensors(bench)] == [41, None]


@row("44-a-sensor-that-is-off-reads-129-or-511-or-255")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "board", temp1_input="129000", temp2_input="511000", temp3_input="255000")
    assert [sensor["celsius"] for sensor in _sensors(bench)] == [None, None, None]


@row("45-unused-places-of-a-table-are-unknown-and-the-rest-stays")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "ectable", temp1_input="49000", temp2_input="-128000", temp3_input="0")
    assert [sensor["celsius"] for sensor in _sensors(bench)] == [49, None, None]


@row("45-a-table-with-an-absurd-value-is-not-trusted-at-all")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "coretemp", temp1_input="49000", temp1_label="Package id 0")
    bench.tree.hwmon(1, "ectable", temp1_input="1000", temp5_input="111000", temp11_input="-80000")
    assert [sensor["celsius"] for sensor in _sensors(bench)] == [49, None, None, None]


@row("46-a-single-wrong-value-of-a-zone-is-no-temperature")
def _(bench: Bench) -> None:
    bench.tree.zone(0, "acpitz", "-650788984")
    bench.tree.zone(1, "acpitz", "52000")
    assert [sensor["celsius"] for sensor in _sensors(bench)] == [None, 52]


@row("47-a-sensor-that-fails-does-not-take-the-others-along")
def _(bench: Bench) -> None:
    chip = bench.tree.hwmon(0, "mixed", temp1_input="40000", temp3_input="", fan1_input="", fan2_input="2100")
    (chip / "temp2_input").mkdir()
    told = bench.probe()
    assert [sensor["celsius"] for sensor in told["temperatures"]] == [40, None, None]
    assert [fan["rpm"] for fan in told["fans"]] == [None, 2100]
    assert told["reasons"]["temperatures.mixed.temp2"]
    assert told["reasons"]["fans.mixed.fan1"] == "It is empty."


@row("48-a-fan-at-nothing-asks-for-an-ear")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "ecfan", fan1_input="0")
    told = bench.probe()
    assert told["fans"] == [{"chip": "ecfan", "label": "fan1", "rpm": 0}]
    assert "listen" in told["reasons"]["fans.ecfan.fan1"]


@row("49-a-fan-at-65535-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "ecfan", fan1_input="65535")
    assert bench.probe()["fans"][0]["rpm"] is None


@row("50-a-period-read-as-a-speed-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "ecfan", fan1_input="12000", fan2_input="8501", fan3_input="6000")
    assert [fan["rpm"] for fan in bench.probe()["fans"]] == [None, None, 6000]


@row("50-a-fan-that-its-chip-calls-bad-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.hwmon(0, "ecfan", fan1_input="2400", fan1_fault="1", temp1_input="50000", temp1_fault="1")
    told = bench.probe()
    assert told["fans"][0]["rpm"] is None
    assert told["temperatures"][0]["celsius"] is None


@row("51-no-fan-is-normal-and-nine-turns-a-minute-are-not")
def _(bench: Bench) -> None:
    bench.tree.battery()
    assert "Listen" in bench.probe()["reasons"]["fans"]
    bench.tree.hwmon(0, "ecfan", fan3_input="9")
    assert bench.probe()["fans"][0]["rpm"] is None


@row("52-a-percentage-of-255-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.supply("BAT0", {"type": "Battery", "status": "Unknown", "capacity": "255"})
    pack = bench.pack()
    assert pack["state_of_charge"] is None
    assert "255" in pack["reasons"]["state_of_charge"]


@row("53-capacities-that-are-blank-or-nothing-are-unknown")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full_design="0", energy_full="")
    pack = bench.pack()
    assert (pack["design_wh"], pack["full_charge_wh"], pack["health"]) == (None, None, None)
    assert "empty" in pack["reasons"]["full_charge_wh"]


@row("53-all-bits-set-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_full_design="4294967295000", power_now="-1000", voltage_now="4294967295")
    pack = bench.pack()
    assert (pack["design_wh"], pack["power_w"], pack["voltage_v"]) == (None, None, None)
    assert "not known" in pack["reasons"]["power_w"]


@row("54-a-percentage-in-place-of-a-capacity-is-not-a-dead-pack")
def _(bench: Bench) -> None:
    bench.tree.battery(
        base=CHARGE_PACK, charge_full="100000", charge_full_design="4315000", charge_now="54000"
    )
    pack = bench.pack()
    assert pack["health"] == pytest.approx(0.0232, abs=1e-4)
    assert "wrong gauge" in pack["reasons"]["health"]


@row("54-a-placeholder-of-one-is-unknown")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK, charge_full="1000", charge_full_design="4315000", charge_now="1000")
    assert bench.pack()["health"] is None


_JUDGED = (
    "state",
    "state_of_charge",
    "full_charge_wh",
    "design_wh",
    "health",
    "power_w",
    "voltage_v",
    "current_a",
)
_MADE_UP = {
    "technology": "Unknown",
    "serial_number": "0001",
    "energy_full_design": "50000000",
    "energy_full": "50000000",
    "energy_now": "50000000",
}


@row("55-a-pack-of-round-numbers-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(base={**ENERGY_PACK, **_MADE_UP})
    reasons = bench.pack()["reasons"]
    assert all("emulated" in reasons[field] for field in _JUDGED)


@row("55-round-numbers-without-a-serial-are-doubted")
def _(bench: Bench) -> None:
    made_up = {**ENERGY_PACK, **_MADE_UP, "technology": "Li-ion"}
    bench.tree.battery(base=made_up, without=("serial_number",))
    assert "emulated" in bench.pack()["reasons"]["full_charge_wh"]
    bench.tree.battery(base={**made_up, "serial_number": "4711"})
    assert "emulated" not in bench.pack()["reasons"].get("full_charge_wh", "")


@row("55-a-sound-pack-in-a-virtual-machine-is-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery(base=CHARGE_PACK)
    bench.tree.firmware(sys_vendor="Example", product_name="Virtual Machine", chassis_type="1")
    told = bench.probe()
    assert told["machine"]["virtual"] is True
    reasons = told["batteries"][0]["reasons"]
    assert all("virtual machine" in reasons[field] for field in _JUDGED)


@row("55-a-sound-pack-in-a-laptop-is-not-doubted")
def _(bench: Bench) -> None:
    bench.tree.battery()
    bench.tree.firmware(sys_vendor="Fennel", product_name="Larkspur 15", chassis_type="10")
    told = bench.probe()
    assert told["machine"]["virtual"] is False
    assert "health" not in told["batteries"][0]["reasons"]


@row("56-remaining-above-full-leaves-the-whole-per-cent-with-a-note")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_now="199480000", capacity="41")
    pack = bench.pack()
    assert pack["remaining_wh"] is None
    assert pack["state_of_charge"] == 0.41
    assert "unusable" in pack["reasons"]["state_of_charge"]


@row("56-remaining-above-full-without-a-level-leaves-nothing")
def _(bench: Bench) -> None:
    bench.tree.battery(energy_now="199480000", capacity="255")
    pack = bench.pack()
    assert (pack["remaining_wh"], pack["state_of_charge"]) == (None, None)
    assert pack["reasons"]["state_of_charge"].endswith("its counter is unusable.")


@row("57-a-capacity-that-is-no-number-is-unknown")
def _(bench: Bench) -> None:
    for text in ("fifty", "5e7", "0x2faf080", "49_870_000", "٤٩٨٧", "49870000.5", "nan"):
        bench.tree.battery(energy_full=text)
        pack = bench.pack()
        assert pack["full_charge_wh"] is None
        assert "not a number" in pack["reasons"]["full_charge_wh"]


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Bench:
    return Bench(tmp_path, capsys)


@pytest.mark.parametrize("name", sorted(ROWS))
def test_bad_data(name: str, bench: Bench) -> None:
    ROWS[name](bench)


def test_no_kind_of_fault_is_left_out() -> None:
    assert {int(name[:2]) for name in ROWS} == set(range(1, 58))


def test_single_files_serve_where_there_is_no_uevent(bench: Bench) -> None:
    bench.tree.battery(uevent=False)
    without = bench.pack()
    bench.tree.battery(uevent=True)
    assert without == bench.pack()


def test_the_root_may_be_reached_through_links(bench: Bench, tmp_path: Path) -> None:
    bench.tree.laptop()
    told = bench.probe()
    other = tmp_path / "other"
    shutil.copytree(tmp_path / "class", other / "devices-of-class")
    (other / "class").symlink_to("devices-of-class")
    shutil.copytree(tmp_path / "devices", other / "devices")
    assert Bench(other, bench._capsys).probe() == told
