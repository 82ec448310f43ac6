"""Automatic checks: samples in, readings out, as steppers."""

from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.registry import PROBES, UNITS, make_probe, probe_names, probe_units

__all__ = [
    "PROBES",
    "UNITS",
    "Context",
    "Finding",
    "Probe",
    "Want",
    "Working",
    "make_probe",
    "probe_names",
    "probe_units",
]
