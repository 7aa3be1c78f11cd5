"""What was built, and how a check tells what it found."""

import re
import sys
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Scoring:
    """The files of one scoring of one piece."""

    name: str
    folder: Path
    """The year of its ensemble."""
    era: int

    def score(self, ending):
        return self.folder / f"score.{ending}"

    def parts(self, ending):
        return sorted((self.folder / "parts").glob(f"*.{ending}"))

    def files(self, ending):
        """The score first, then the parts in the order of the score."""
        return [self.score(ending), *self.parts(ending)]


@dataclass
class Finding:
    """The outcome of one check on one thing."""

    name: str
    tested: int = 0
    wrong: list = field(default_factory=list)

    def expect(self, right, words):
        """Counts one thing as tested, and keeps the words if it is not right."""
        self.tested += 1
        if not right:
            self.wrong.append(words)
        return right

    @property
    def passed(self):
        """A check that tested nothing has not passed."""
        return self.tested > 0 and not self.wrong


def report(findings, shown=12):
    """Prints findings as they come, with so many of what is wrong, and ends the program: with a failure if one
    has not passed, or if there is none."""
    passed = []
    for finding in findings:
        passed.append(finding.passed)
        print(f"{'ok     ' if finding.passed else 'FAILED '} {finding.name} ({finding.tested})")
        for wrong in finding.wrong[:shown]:
            print(f"          {wrong}")
    sys.exit(not passed or not all(passed))


def scorings(folder, sources):
    """All scorings below an output folder that were built from these sources."""
    eras = {}
    for source in sources:
        eras |= _eras(source)
    return [
        Scoring(f"{place.parent.name}/{place.name}", place, eras[piece.name, place.name])
        for piece in sorted(Path(folder).iterdir())
        for place in sorted(piece.iterdir())
        if place.is_dir()
    ]


def of_sources(scorings, sources):
    """Those of the scorings that were built from these sources."""
    own = {place for source in sources for place in _eras(source)}
    return [s for s in scorings if (s.folder.parent.name, s.folder.name) in own]


def _eras(source):
    """The year of each scoring of a source, with the files that it uses, by the folder of the piece
    and that of the scoring."""
    text = source.read_text(encoding="utf-8")
    if movements := re.findall(r'^  movement "(.*?)"', text, re.MULTILINE):
        title = _folder(re.search(r'^piece "(.*?)"', text, re.MULTILINE)[1])
        eras = [_eras(source.parent / movement) for movement in movements]
        return {(title, scoring): era for one in eras for (_, scoring), era in one.items()}
    for used in re.findall(r'^use "(.*)"', text, re.MULTILINE):
        text += (source.parent / used).read_text(encoding="utf-8")
    ensembles = {
        name: (base, re.search(r"^  era (\d+)", body, re.MULTILINE))
        for name, base, body in re.findall(
            r"^ensemble (\S+)(?: extends (\S+))? \{(.*?)^\}", text, re.MULTILINE | re.DOTALL
        )
    }

    def year(name):
        base, era = ensembles[name]
        return int(era[1]) if era else year(base)

    title = re.search(r'^piece "(.*?)"', text, re.MULTILINE)
    if not title:
        return {}
    piece = _folder(title[1])
    return {
        (piece, _folder(scoring)): year(ensemble)
        for scoring, ensemble in re.findall(r"^scoring (\S+) for (\S+)", text, re.MULTILINE)
    }


def _folder(name):
    """A folder's name: small letters and digits, with - between."""
    return re.sub(r"-+", "-", "".join(c if c.isalnum() else "-" for c in name.lower())).strip("-")
