"""How tests read the tables that the program prints for people."""

import os
import re

os.environ["COLUMNS"] = "1000"  # so that every row stands in one line; how it is broken is checked where tables are set


def has_heading(line, heading):
    """Whether the columns that a line names, or its words, begin with these."""
    columns = re.split(r"\s{2,}", line.strip())
    return line.split()[: len(heading)] == list(heading) or (
        len(columns) >= len(heading) and all(c.startswith(h) for c, h in zip(columns, heading)))
