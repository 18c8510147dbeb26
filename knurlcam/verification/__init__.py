"""Motion to findings, rule by rule."""
