"""The wiring drawings: `python -m hardware.wiring` writes them anew beside this file.

svg         shapes and words as SVG
drawings    the four drawings
electrics   the sums behind pull-ups and lengths of cable, each with its source
"""
