"""How tests read the tables that the program prints for people."""

import re


def is_rule(line):
    return line.lstrip(" ").startswith("--") and set(line) <= {"-", " "}


def one_line_rows(lines):
    """The lines of a text, every table in it laid out anew: each row in one line, and its heading in one. A wide table has
    rows of several lines, words in the first and numbers below, each with a rule of its own; in others headings and words
    may go on in the next line."""
    found, at = [], 0
    while at < len(lines):
        if not is_rule(lines[at]):
            found.append(lines[at])
            at += 1
            continue
        rules = []
        while at < len(lines) and is_rule(lines[at]):
            rules.append([match.span() for match in re.finditer("-+", lines[at])])
            at += 1
        fits = lambda line, spans: bool(line.strip()) and len(line) <= spans[-1][1] and not line[: spans[0][0]].strip() and not any(
            line[end:begin].strip() for (_, end), (begin, _) in zip(spans, spans[1:]))
        cells = lambda line, spans: [line[begin:end].strip() for begin, end in spans]
        joined = lambda rows: [" ".join(filter(None, parts)) for parts in zip(*rows)]
        if len(rules) == 1:
            above = []
            while found and fits(found[-1], rules[0]) and not is_rule(found[-1]):
                above.insert(0, cells(found.pop(), rules[0]))
            table = [joined(above)]
        else:
            above, found = found[-len(rules):], found[: -len(rules)]
            table = [sum((cells(line, spans) for line, spans in zip(above, rules)), [])]
        while at + len(rules) <= len(lines) and all(fits(line, spans) for line, spans in zip(lines[at:], rules)):
            row = sum((cells(line, spans) for line, spans in zip(lines[at:], rules)), [])
            if len(rules) == 1 and not row[0] and any(table[0]) and len(table) > 1:
                table[-1] = joined([table[-1], row])
            else:
                table.append(row)
            at += len(rules)
        widths = [max(len(row[c]) for row in table) for c in range(len(table[0]))]
        laid = lambda row: "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths))
        found += [laid(table[0]), laid(["-" * width for width in widths]), *map(laid, table[1:])]
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
