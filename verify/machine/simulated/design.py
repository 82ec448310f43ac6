"""The two clamshells that can be simulated. Maker, models, serial numbers and magnitudes are invented.

The hardware addresses are from the block for documentation (RFC 7042).
"""

import msgspec

from verify.machine.simulated.pack import PackDesign

__all__ = ["LARKSPUR_13", "LARKSPUR_15", "SimulatedDesign"]


class SimulatedDesign(msgspec.Struct, frozen=True, kw_only=True):
    """What a simulated machine is: names, its pack, its charger, and its draw at rest and at full load, in W.

    network: the hardware address of its network adapter; drive: the serial of its drive. fans: 1 or 2;
    memory_gib: in modules of 8 GiB, 16 at most.
    """

    maker: str
    model: str
    serial: str
    board: str
    pack: PackDesign
    adapter_w: float
    idle_w: float
    full_load_w: float
    cores: int
    frequency_mhz: float
    frequency_base_mhz: float
    frequency_max_mhz: float
    high_c: float
    critical_c: float
    network: str
    drive: str
    fans: int = 1
    memory_gib: int = 16


LARKSPUR_15 = SimulatedDesign(
    maker="Fennel",
    model="Larkspur 15",
    serial="FN-L15-004217",
    board="Larkspur 15 main board",
    pack=PackDesign(
        design_wh=57.0,
        holds_wh=56.42,
        design_voltage_v=11.4,
        cells=3,
        cycle_count=2,
        manufacturer="Fennel",
        model="L15-57",
        serial="P-20871",
    ),
    adapter_w=65.0,
    idle_w=10.5,
    full_load_w=32.0,
    cores=8,
    frequency_mhz=1100.0,
    frequency_base_mhz=2400.0,
    frequency_max_mhz=3600.0,
    high_c=95.0,
    critical_c=105.0,
    network="00:00:5e:00:53:15",
    drive="D-51502",
    fans=2,
)
"""The larger of the demo's two clamshells."""

LARKSPUR_13 = SimulatedDesign(
    maker="Fennel",
    model="Larkspur 13",
    serial="FN-L13-001730",
    board="Larkspur 13 main board",
    pack=PackDesign(
        design_wh=50.0,
        holds_wh=49.31,
        design_voltage_v=11.4,
        cells=3,
        cycle_count=3,
        manufacturer="Fennel",
        model="L13-50",
        serial="P-30144",
    ),
    adapter_w=65.0,
    idle_w=6.5,
    full_load_w=26.0,
    cores=4,
    frequency_mhz=1000.0,
    frequency_base_mhz=2200.0,
    frequency_max_mhz=3400.0,
    high_c=95.0,
    critical_c=105.0,
    network="00:00:5e:00:53:13",
    drive="D-51317",
)
"""The smaller one."""
