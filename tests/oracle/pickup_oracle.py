#!/usr/bin/python3
"""What `trimwright readings` says of recordings made outside (pickup_recordings.py), judged against the truth.

  pickup_oracle.py PROGRAM SOURCE                       six rings, twelve recordings: the test
  pickup_oracle.py PROGRAM SOURCE SEED COUNT            COUNT rings, two recordings each; a table and the statistics
  pickup_oracle.py PROGRAM SOURCE SEED INDEX FOLDER     keep the files of one of them, and print its record
"""
import json
import os
import subprocess
import sys
import tempfile

import numpy as np

from pickup_recordings import FAMILIES, damage, make_case, make_recording, write_rotor

PROGRAM = os.path.abspath(sys.argv[1])


def read(folder, wav, job, *options):
    """(exit status, the recording's document or None)."""
    done = subprocess.run([PROGRAM, "readings", wav, "--job", job, "--run", "as found", "--format", "json", *options],
                          cwd=folder, capture_output=True, text=True, timeout=120)
    assert done.returncode in (0, 1) and (done.stdout or done.stderr), done
    return done.returncode, json.loads(done.stdout)["recordings"][0] if done.stdout else None


def judge(status, document, facts, teeth):
    """What came out, against the truth. Wrong: a phase off by more than a quarter pitch and more than four stated deviations."""
    result = dict(status=status, outcome="refused", z=[], off_deg=[], findings=[], notes=[], warned=True, word=False)
    if document is None:
        return result
    found = document["findings"]
    result.update(findings=[f["kind"] for f in found], warned=any(f["gravity"] != "note" for f in found),
                  cautions=[f["kind"] for f in found if f["gravity"] != "note"],
                  word=any(f["kind"] == "taken_at_its_word" for f in found),
                  notes=sorted({n for d in document["dwells"] for r in d["readings"] for n in r["notes"]}))
    for reading in (r for d in document["dwells"] for r in d["readings"] if r["phase_deg"] is not None):
        size, angle = facts["truth"][reading["sensor"]]
        off = (reading["phase_deg"] - angle + 180) % 360 - 180
        sd_deg = np.degrees((reading["sd"] or 0) / reading["amplitude"])
        if abs(off) > max(90 / teeth, 4 * sd_deg):
            result["outcome"] = "wrong"
            continue
        result["outcome"] = "wrong" if result["outcome"] == "wrong" else "right"
        if reading["sd"]:
            vector = reading["amplitude"] * np.exp(1j * np.radians(off)) - size
            result["z"].append([vector.real / reading["sd"], vector.imag / reading["sd"]])
            result["off_deg"].append(off)
    return result


def run_case(seed, index, folder):
    """Make, read and judge one ring: sound, and as it is later with nothing, its size or its ring known."""
    case, ring, rng = make_case(seed, index)
    sound = make_recording(case, ring, rng, "sound")
    now, did = damage(ring, case["family"], rng)
    out = make_recording(case, now, rng, case["family"])
    at = lambda name: os.path.join(folder, name)
    for recording, name in ((sound, "sound"), (out, "now")):
        recording.write_wav(at(name + ".wav"), int(rng.choice([16, 24, 32])))
        recording.write_job(at(name + ".yaml"), "rotor.yaml")
    write_rotor(at("rotor.yaml"), case)
    if os.path.exists(at("ring.yaml")):
        os.remove(at("ring.yaml"))
    ways = {}

    def way(name, wav, job, *options):
        status, document = read(folder, wav, job, *options)
        ways[name] = judge(status, document, (sound if wav == "sound.wav" else out).facts, case["teeth"])
        return document

    document, dwell = way("sound", "sound.wav", "sound.yaml", "--ring-to", "ring.yaml"), []
    later = way("nothing", "now.wav", "now.yaml")
    if later is not None and not later["dwells"] and case["family"] in ("wander", "ramp"):
        dwell = ["--dwell", f"0.2 s to {out.facts['seconds'] - 0.2:.2f} s"]
        way("nothing", "now.wav", "now.yaml", *dwell)
    if os.path.exists(at("ring.yaml")):
        way("ring", "now.wav", "now.yaml", "--ring", "ring.yaml", *dwell)
        reference = document["reference"]
        size, width = (float(reference["teeth"][0][key] / np.mean([x[key] for x in reference["teeth"][1:] if x[key]]))
                       for key in ("size", "width"))
        stated = dict(larger_size=round(size, 3)) | (dict(larger_width=round(width, 3)) if width >= 1.07 else {})
        write_rotor(at("rotor-stated.yaml"), case, stated)
        out.write_job(at("stated.yaml"), "rotor-stated.yaml")
        way("size_width" if len(stated) == 2 else "size", "now.wav", "stated.yaml", *dwell)
    return dict(case, did=did, facts=out.facts, sound_facts=sound.facts, ways=ways)


def statistics(label, results):
    """Errors over stated deviations (radial, tangential), and what is noted without cause."""
    z = np.array([v for x in results for v in x["z"]]).reshape(-1, 2)
    off = np.array([v for x in results for v in x["off_deg"]])
    if len(z):
        print(f"{label}: {len(z)} readings; z rms {np.sqrt(np.mean(z ** 2, 0)).round(3)}, largest {np.abs(z).max(0).round(1)}; phase "
              f"rms {np.sqrt(np.mean(off ** 2)):.3f} deg, largest {np.abs(off).max():.2f}")
    return z


def noted(result):
    return [n for n in result["notes"] if "another vibration" in n or "wanders slowly" in n]


def report(records):
    ways = ["sound", "nothing", "size", "size_width", "ring"]
    print(f"{len(records)} rings; right / refused / wrong\n{'family':24}" + "".join(f"{w:>16}" for w in ways))
    for family in ["ordinary", *FAMILIES, "all"]:
        outcomes = [[r["ways"][w]["outcome"] for r in records if family in (r["family"], "all") and w in r["ways"]] for w in ways]
        print(f"{family:24}" + "".join(f"{' / '.join(str(o.count(x)) for x in ('right', 'refused', 'wrong')):>16}" for o in outcomes))
    plain = [(r["sound_facts"], r["ways"]["sound"]) for r in records]
    plain += [(r["facts"], r["ways"]["nothing"]) for r in records if r["family"] == "ordinary"]
    alone, beside = ([x for f, x in plain if bool(f["neighbour"]) == near] for near in (False, True))
    statistics("sound and ordinary, no neighbour", alone)
    statistics("the same, with a neighbour", beside)
    print(f"a neighbour or a resonance is noted: without one {sum(bool(noted(x)) for x in alone)} of {len(alone)}, with one "
          f"{sum(bool(noted(x)) for x in beside)} of {len(beside)}")
    print("cautions on sound rings: " + (", ".join(sorted(k for _, x in plain for k in x.get("cautions", []))) or "none"))
    known = [r["ways"]["ring"] for r in records if r["family"] == "ordinary" and "ring" in r["ways"]]
    print("cautions on ordinary recordings, ring known: " + (", ".join(sorted(k for x in known for k in x.get("cautions", []))) or "none"))
    for r in records:
        for w, x in r["ways"].items():
            bad = x["outcome"] == "wrong" and (w != "nothing" or not (x["warned"] or x["word"]))
            if bad or (x["outcome"] == "refused" and (r["family"] == "ordinary" or w == "sound")):
                print(f"{r['seed']}/{r['index']} {r['family']} {w}: {x['outcome']}, {x['findings']}")


def test():
    """A few rings of every usual kind: none wrong, ordinary ones read, nothing noted that is not there."""
    bad = []
    with tempfile.TemporaryDirectory() as folder:
        records = [run_case(20261, index, folder) for index in (0, 2, 4, 1, 21, 23)]
    for r in records:
        for name, x in r["ways"].items():
            ordinary = name == "sound" or r["family"] == "ordinary" and name in ("nothing", "ring")
            near = (r["sound_facts"] if name == "sound" else r["facts"])["neighbour"]
            if (x["outcome"] == "wrong" and not (x["warned"] or x["word"])) or (x["outcome"] == "wrong" and name == "ring"):
                bad.append((r["index"], name, "wrong", x))
            if ordinary and (x["outcome"] != "right" or (noted(x) and not near)):
                bad.append((r["index"], name, "refused, or noted what is not there", x))
    z = statistics("sound and ordinary", [r["ways"]["sound"] for r in records])
    if not 0.5 < np.sqrt(np.mean(z ** 2)) < 1.6:
        bad.append("stated deviations")
    for one in bad:
        print(one)
    return 1 if bad else 0


if __name__ == "__main__":
    given = sys.argv[3:]
    if not given:
        sys.exit(test())
    if len(given) == 3:
        os.makedirs(given[2], exist_ok=True)
        print(json.dumps(run_case(int(given[0]), int(given[1]), given[2]), indent=1, default=float))
    else:
        with tempfile.TemporaryDirectory() as work:
            report([run_case(int(given[0]), index, work) for index in range(int(given[1]))])
