"""A room includes only what the table of DEVELOPERS.md says that it uses, and what those use: every #include."""
import pathlib
import re
import sys

root = pathlib.Path(sys.argv[1]).resolve()
cmake = (root / "CMakeLists.txt").read_text()
rooms = re.search(r"set\(TRIMWRIGHT_ROOMS ([^)]*)\)", cmake).group(1).split() + ["cli"]
# The room of each public header; the others are called after theirs.
public = {"error": "base", "phasor": "base", "deadline": "base", "job": "runs", "prior": "influence", "review": "influence",
          "slot_search": "slots", "files": "io"}
wrong, seen = [], 0
uses = {}  # of each room, with all that those use
for room, used in re.findall(r"^\| `(\w+)` \|.*\| ([^|]*) \|$", (root / "DEVELOPERS.md").read_text(), re.M):
    if room in rooms:
        named = list(uses) if used == "all above" else re.findall(r"`(\w+)`", used)
        uses[room] = {room}.union(*(uses.get(one, {one}) for one in named))
if list(uses) != rooms:
    wrong.append(f"DEVELOPERS.md has the rooms {list(uses)}, CMakeLists.txt {rooms}")
for top in ("include/trimwright", "src"):
    for path in (root / top).rglob("*.[ch]pp"):
        room = path.relative_to(root / top).parts[0]
        if top != "src":
            room = public.get(path.stem, path.stem)
        if room not in rooms:
            wrong.append(f"{path}: no such room {room}")
            continue
        for line, text in enumerate(path.read_text().splitlines(), 1):
            found = re.match(r'\s*#\s*include\s*"([^"]+)"', text)
            if not found:
                continue
            name = found.group(1)
            if name.startswith("trimwright/"):
                other = name.removeprefix("trimwright/").removesuffix(".hpp")
                name = public.get(other, other) + "/" + name
            elif top != "src":
                wrong.append(f"{path}:{line}: a public header includes {name}, which is not installed")
            if "/" not in name:
                continue  # a file of the same folder
            if name.startswith("."):  # "../report/markup.hpp" is of the room report
                name = (path.parent / name).resolve().relative_to(root / top).as_posix()
            seen += 1
            other = name.split("/")[0]
            if other not in uses.get(room, ()):
                wrong.append(f"{path}:{line}: {room} includes {other}")
print("\n".join(wrong) if wrong else f"{seen} includes between {len(rooms)} rooms, all downwards")
sys.exit(1 if wrong or seen < 50 else 0)
