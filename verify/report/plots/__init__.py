"""Plots of the page: static SVG, readable without colour, each with words that say what it says. Pure."""
