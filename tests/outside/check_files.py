"""The same source gives the same bytes, and nothing is written outside the output folder.

Source: the project's own promise.
"""

from outputs import Finding


def contents(folder):
    """Every file below a folder with its bytes."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def same_bytes(first, second):
    finding = Finding("the same source gives the same bytes")
    once, twice = contents(first), contents(second)
    finding.expect(once.keys() == twice.keys(), f"files differ: {once.keys() ^ twice.keys()}")
    for path, written in once.items():
        finding.expect(twice.get(path) == written, f"{path} differs between two builds")
    return finding


def clean_names(room, output):
    """`room` holds nothing but the source and the output folder, whatever the piece is called."""
    finding = Finding("titles and names lead to no path outside the output folder")
    beside = {path.name for path in room.iterdir()}
    finding.expect(beside == {output.name, "source.ripieno"}, f"in the room: {sorted(beside)}")
    written = [path for path in output.rglob("*") if path.is_file()]
    finding.expect(bool(written), "nothing was written")
    for path in written:
        inside = output.resolve() in path.resolve().parents
        finding.expect(inside and not path.is_symlink(), f"{path} lies outside")
        names = path.relative_to(output).parts
        odd = [name for name in names if name.startswith((".", "-")) or set(name) & set('\\:*?"<>|')]
        finding.expect(not odd, f"{path}: {odd}")
    return finding
