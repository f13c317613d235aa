"""Plan and situation to diagram: a sketch and its layout here; `terminal/` and `svg/` draw it."""
