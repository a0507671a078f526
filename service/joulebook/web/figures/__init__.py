"""Figures: results in, a plotly dictionary out."""
