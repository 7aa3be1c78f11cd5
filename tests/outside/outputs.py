"""What was built, and how a check tells what it found."""

from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Scoring:
    """The files of one scoring of one piece."""

    name: str
    folder: Path

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


def scorings(folder):
    """All scorings below an output folder."""
    return [
        Scoring(f"{place.parent.name}/{place.name}", place)
        for piece in sorted(Path(folder).iterdir())
        for place in sorted(piece.iterdir())
        if place.is_dir()
    ]
