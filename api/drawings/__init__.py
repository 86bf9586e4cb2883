"""Drawings of a machine as SVG text, made from its card: side view, drive train, positions of settings.

Pure functions. Shapes and words carry everything that colour carries, so a drawing also reads in greyscale. There is no
script, no style attribute and no reference to anything outside, so a page may keep a strict content security policy.
"""
