"""What `check --format json` prints is what `grammar/findings.schema.json` says.

The schema is ours, in JSON Schema 2020-12; `jsonschema` validates. Real outputs are read: of clean
sources, of broken ones, of several files at once. That the schema refuses what it must is tried too.
"""

import copy
import json
import subprocess
from pathlib import Path

import jsonschema

from outputs import Finding

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = ROOT / "grammar" / "findings.schema.json"


def _report(ripieno, sources):
    run = subprocess.run([ripieno, "check", "--format", "json", *sources], cwd=ROOT,
                         capture_output=True, text=True, timeout=60, check=False)
    return json.loads(run.stdout)


def _spoiled(report):
    """Copies of a report with one mistake each, and what it is."""
    for name in report["findings"][0]:
        spoiled = copy.deepcopy(report)
        del spoiled["findings"][0][name]
        yield f"`{name}` is missing", spoiled
    for name, value in (("severity", "hint"), ("code", "beyond"), ("bars", [1]), ("player", 1),
                        ("scoring", 1), ("also_in", ["one", "one"])):
        spoiled = copy.deepcopy(report)
        spoiled["findings"][0][name] = value
        yield f"`{name}` is {value!r}", spoiled
    spoiled = copy.deepcopy(report)
    spoiled["findings"][0]["start"]["line"] = 0
    yield "a line is 0", spoiled
    yield "there is no summary", {"findings": report["findings"]}


def check(ripieno, clean):
    """`clean` is a source without a finding."""
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    broken = sorted((ROOT / "tests" / "fixtures").rglob("*.ripieno"))
    samples = sorted((ROOT / "samples").glob("*.ripieno"))
    valid = Finding("findings as data: real outputs follow the schema")
    reports = []
    for sources in ([clean], *([source] for source in broken + samples), broken + samples):
        report = _report(ripieno, sources)
        reports.append(report)
        wrong = [f"{error.json_path}: {error.message}" for error in validator.iter_errors(report)]
        valid.expect(not wrong, f"{sources[0]}: {'; '.join(wrong[:3])}")
        for severity, key in (("error", "errors"), ("warning", "warnings"), ("advice", "advice")):
            count = sum(finding["severity"] == severity for finding in report["findings"])
            valid.expect(report["summary"][key] == count, f"{sources[0]}: {key} are {count}")
    every = [finding for report in reports for finding in report["findings"]]
    valid.expect(not reports[0]["findings"], "the clean source is not clean")
    valid.expect(any(f["fixes"] for f in every), "no output has a fix")
    valid.expect(any(f["severity"] == "error" for f in every), "no output has an error")
    valid.expect(any(f["player"] for f in every), "no output speaks of a player")
    valid.expect(any(f["scoring"] for f in every), "no output speaks of a scoring")
    valid.expect(any(f["scoring"] is None for f in every), "no output speaks of a source as a whole")
    valid.expect(any(f["also_in"] for f in every), "no output has a finding of several scorings")
    valid.expect(all(f["scoring"] not in f["also_in"] for f in every), "a scoring is named twice")
    valid.expect(len({f["file"] for f in reports[-1]["findings"]}) > 1, "no output has several files")
    yield valid
    strict = Finding("findings as data: the schema refuses what is wrong")
    full = next(report for report in reports if report["findings"])
    for words, spoiled in _spoiled(full):
        strict.expect(not validator.is_valid(spoiled), f"it takes a report in which {words}")
    yield strict
