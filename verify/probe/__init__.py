"""Automatic checks: samples in, readings out, as steppers."""

from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.registry import PROBES, make_probe, probe_names

__all__ = ["PROBES", "Context", "Finding", "Probe", "Want", "Working", "make_probe", "probe_names"]
