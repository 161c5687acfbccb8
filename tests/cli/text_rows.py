"""How tests read the tables that the program prints for people."""

import re


def one_line_rows(lines):
    """The lines of a text, the rows of wide tables (words in one line, numbers below it) each in one again."""
    found, at = [], 0
    rule = lambda line: line.strip() and set(line) <= {"-", " "}
    while at < len(lines):
        height = next((n for n in (2, 3) if at + 2 * n <= len(lines) and all(rule(lines[at + k]) for k in range(n, 2 * n))
                       and not any(rule(lines[at + k]) for k in range(n))), 0)
        if not height:
            found.append(lines[at])
            at += 1
            continue
        widths = [len(lines[at + height + k]) for k in range(height)]
        while at < len(lines) and lines[at].startswith("  ") and lines[at].strip() and lines[at + 1].startswith("    "):
            found.append("  ".join(lines[at + k].ljust(widths[k]) if k < height - 1 else lines[at + k] for k in range(height)))
            at += height
    return found


def has_heading(line, heading, lines):
    """Whether the columns that a line names begin with these; or where those of no line do, as columns of words come first
    in a wide table, whether the first is the first of these and the others stand somewhere."""
    columns = lambda text: re.split(r"\s{2,}", text.strip())
    leads = lambda text: (text.split()[: len(heading)] == list(heading)
                          or len(columns(text)) >= len(heading) and all(c.startswith(h) for c, h in zip(columns(text), heading)))
    if any(leads(one) for one in lines):
        return leads(line)
    return columns(line)[0].startswith(heading[0]) and set(heading) <= {*columns(line), *line.split()}
