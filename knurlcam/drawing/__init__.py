"""Shapes, SVG, PNG, axes and scale bars; knows no knurl."""
