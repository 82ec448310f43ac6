"""Automatic checks: samples in, readings out, as steppers."""

from verify.probe.model import Context, Finding, Probe, Want, Working

__all__ = ["Context", "Finding", "Probe", "Want", "Working"]
