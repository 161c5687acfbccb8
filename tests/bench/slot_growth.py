#!/usr/bin/env python3
"""Draws what slot_growth prints.

    slot_growth growth 5 > growth.csv;  slot_growth.py growth.csv ../../docs/slot-growth.svg
    slot_growth gap 5 > gap.csv;        slot_growth.py gap.csv        (a table for docs/slot-search.md)
    slot_growth memory 8 > memory.csv
"""

import csv
import math
import statistics
import sys

PANEL_W, PANEL_H, LEFT, TOP, GAP = 250, 190, 52, 34, 62
SWEEPS = [("slots", "slots in a plane"), ("weights", "weights"), ("planes", "planes"), ("changes", "changes, m")]
COLOURS = {"free": "#1f5f99", "fitted and scarce": "#b3541e"}
LOW, HIGH = 0.1, 1e5  # ms


def height(ms):
    share = (math.log10(min(max(ms, LOW), HIGH)) - math.log10(LOW)) / (math.log10(HIGH) - math.log10(LOW))
    return TOP + PANEL_H * (1.0 - share)


def text(x, y, words, anchor="middle", extra=""):
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {extra}>{words}</text>'


def panel(rows, name, title, x0):
    values = sorted({int(row["value"]) for row in rows})
    span = max(values) - min(values) or 1

    def across(value):
        return x0 + PANEL_W * (value - min(values)) / span

    parts = [f'<rect x="{x0}" y="{TOP}" width="{PANEL_W}" height="{PANEL_H}" fill="none" stroke="#888"/>',
             text(x0 + PANEL_W / 2, TOP + PANEL_H + 34, title)]
    for power in range(-1, 6):
        y = height(10.0 ** power)
        parts.append(f'<line x1="{x0}" y1="{y:.1f}" x2="{x0 + PANEL_W}" y2="{y:.1f}" stroke="#ddd"/>')
        parts.append(text(x0 - 5, y + 4, f"{10.0 ** power:g}", "end"))
    for value in values[:: max(1, len(values) // 8)]:
        parts.append(text(across(value), TOP + PANEL_H + 16, str(value)))
    for stock, colour in COLOURS.items():
        mine = [row for row in rows if row["stock"] == stock]
        for column, dash in (("median ms", ""), ("worst ms", 'stroke-dasharray="4 3"')):
            points = " ".join(f'{across(int(row["value"])):.1f},{height(float(row[column])):.1f}' for row in mine)
            parts.append(f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="1.6" {dash}/>')
        for row in mine:
            if int(row["open"]) > 0:
                parts.append(f'<circle cx="{across(int(row["value"])):.1f}" cy="{height(float(row["worst ms"])):.1f}" '
                             f'r="3.5" fill="white" stroke="{colour}"/>')
    return parts


def draw_growth(rows, path):
    width = LEFT + len(SWEEPS) * (PANEL_W + GAP)
    total = TOP + PANEL_H + 74
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {total}" font-family="sans-serif" '
             'font-size="12" fill="#222">', f'<rect width="{width}" height="{total}" fill="white"/>',
             text(LEFT, 20, "processor time of a whole trade-off, ms; solid: median, dashed: worst; "
                            "circle: some answer open at the time limit", "start")]
    for i, (name, title) in enumerate(SWEEPS):
        parts += panel([row for row in rows if row["sweep"] == name], name, title, LEFT + i * (PANEL_W + GAP))
    for i, (stock, colour) in enumerate(COLOURS.items()):
        x = LEFT + i * 220
        parts.append(f'<line x1="{x}" y1="{total - 14}" x2="{x + 24}" y2="{total - 14}" stroke="{colour}" '
                     'stroke-width="2"/>')
        parts.append(text(x + 30, total - 10, stock, "start"))
    with open(path, "w", encoding="utf-8") as file:
        file.write("\n".join(parts + ["</svg>"]) + "\n")


def print_gaps(rows):
    limits = sorted({float(row["limit s"]) for row in rows})
    print("| time limit s | processor s | " + " | ".join(f"m = {m}" for m in (1, 2, 3, 4, 6, 8, 10, 12)) + " | largest |")
    print("|" + "---|" * 11)
    for limit in limits:
        mine = [row for row in rows if float(row["limit s"]) == limit]
        cells = [f"{limit:g}", f'{statistics.median(float(row["processor s"]) for row in mine):.2f}']
        for m in (1, 2, 3, 4, 6, 8, 10, 12):
            gaps = [float(row["gap %"]) for row in mine if int(row["changes"]) == m]
            cells.append(f"{statistics.median(gaps):.1f}")
        cells.append(f'{max(float(row["gap %"]) for row in mine):.1f}')
        print("| " + " | ".join(cells) + " |")


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        data = list(csv.DictReader(file))
    if len(sys.argv) > 2:
        draw_growth(data, sys.argv[2])
    else:
        print_gaps(data)
