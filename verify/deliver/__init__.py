"""Putting a signed report where it is wanted."""
