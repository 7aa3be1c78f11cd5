"""Nothing is lost when a build is killed, or the system refuses it something.

    python check_faults.py RIPIENO [KILLS]

A folder is built from one source and from another in turn, so that it can be told which of the two
each file is of: whatever befalls a build, each file is the old or the new one, whole. Where the
build lives to say that it failed, all files are the old ones; and the next build leaves the
folder as if nothing had been.

Kills come at random moments: after a time, or when a chosen number of files is ready or being
placed. A disk becomes full, and read-only, where the system lets this process mount one; as root,
what is not permitted is tried as nobody. What could not be tried is said.
"""

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

from check_files import contents
from outputs import Finding, report

NOBODY = 65534
STAGING = ".ripieno-"


def source(leap):
    """A piece of two scorings and a dozen parts; the leap makes the difference in every file."""
    bars = "".join(f"  {bar}: 1/4 D5 {leap} |\n" for bar in range(1, 33))
    scorings = "".join(
        f"scoring {name} for band {{\n  flute, oboe, violin-1 plays tune as melody\n"
        "  bassoon, basso plays tune 8vb as bass\n}\n"
        for name in ("spring", "autumn")
    )
    return (
        'piece "Sluice" { licence "CC0-1.0" }\n'
        "form {\n  1 metre 2/4, key D major, tempo 1/4 at 60\n  32 end\n}\n"
        f"voice tune {{\n{bars}}}\n"
        "ensemble band {\n  era 1885\n  flute 3, oboe 3, bassoon 3\n"
        "  violin-1 6 players\n  cello 4 players joins basso\n}\n"
        f"{scorings}"
    )


class Room:
    """A folder with two sources of one piece, and what a build of each gives."""

    def __init__(self, ripieno, folder):
        self.ripieno = str(Path(ripieno).resolve())
        self.folder = folder
        self.sources = folder / "sources"
        self.sources.mkdir()
        self.place = self.sources / "sluice.ripieno"
        self.texts = [source("A4"), source("F#5")]
        self.whole = []
        for number in (0, 1):
            self.choose(number)
            output = folder / f"whole-{number}"
            run = self.build(output)
            if run.returncode != 0:
                raise RuntimeError(run.stderr)
            self.whole.append(contents(output))

    def choose(self, number):
        self.place.write_text(self.texts[number], encoding="utf-8")

    def command(self, output):
        # Printed pages would take most of the time, and go the same way.
        formats = ["--only", "text,midi,musicxml"]
        return [self.ripieno, "build", self.place, "-o", output, "--allow", "all", *formats]

    def build(self, output, **options):
        return subprocess.run(
            self.command(output), capture_output=True, text=True, timeout=300, check=False, **options
        )

    def rebuilt(self, number, output):
        """Builds one of the sources, and says what is not as it must be."""
        self.choose(number)
        run = self.build(output)
        if run.returncode != 0:
            return f"the build after it fails: {run.stderr}"
        return different(contents(output), self.whole[number])


def plain(found):
    """Without the list, which tells of whole paths."""
    return {path: text for path, text in found.items() if not path.endswith("ripieno.json")}


def different(found, wanted):
    """The first difference of two folders; nothing where there is none."""
    found, wanted = plain(found), plain(wanted)
    if found.keys() != wanted.keys():
        return f"left or missing: {sorted(found.keys() ^ wanted.keys())[:6]}"
    odd = [path for path in found if found[path] != wanted[path]]
    return f"not as it should be: {odd[:6]}" if odd else ""


def half_written(room, output):
    """Files that are neither of the one source nor of the other."""
    found = {
        path: text for path, text in plain(contents(output)).items() if not path.startswith(STAGING)
    }
    return [path for path in found if found[path] not in [whole.get(path) for whole in room.whole]]


def ready(output):
    """How many files lie ready, and how many were replaced already."""
    names = [name for staging in output.glob(f"{STAGING}*") for name in os.listdir(staging)]
    return len(names), sum(name.endswith("-before") for name in names)


def kills(room, times):
    finding = Finding(f"builds killed at {times} random moments leave nothing half-written")
    output = room.folder / "killed"
    random.seed(os.environ.get("RIPIENO_SEED", "sluice"))
    began = time.monotonic()
    room.choose(0)
    room.build(output)
    lasts = time.monotonic() - began
    files = len(room.whole[0])
    killed = placing = 0
    for number in range(times):
        new = 1 - number % 2
        room.choose(new)
        process = subprocess.Popen(
            room.command(output), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        if number % 3 == 0:
            time.sleep(random.uniform(0, lasts))
        else:
            # When so many files are ready, or so many in their places.
            which = number % 3 - 1
            wanted = random.randint(1, files)
            while process.poll() is None:
                try:
                    if ready(output)[which] >= wanted:
                        break
                except FileNotFoundError:
                    break
        process.send_signal(signal.SIGKILL)
        killed += process.wait() == -signal.SIGKILL
        placing += any(output.glob(f"{STAGING}*/*-before"))
        torn = half_written(room, output)
        finding.expect(not torn, f"kill {number}: half-written {torn[:4]}")
        wrong = room.rebuilt(new, output)
        finding.expect(not wrong, f"kill {number}: {wrong}")
    finding.expect(killed > times // 3, f"only {killed} of {times} builds were killed in time")
    print(f"        ({killed} killed before their end, {placing} while files took their places)")
    return finding


def interrupts(room, times):
    """Every command that may last, asked to stop at a random moment."""
    finding = Finding(f"commands asked to stop at {times} random moments end with 130 and leave nothing")
    folder = room.folder / "interrupted"
    folder.mkdir()
    untidy = [line.replace("1/4", "  1/4") for line in room.texts[0].splitlines()]
    room.choose(0)
    room.build(folder / "built")
    score = next((folder / "built").rglob("score.musicxml"))
    room.choose(1)
    many = [folder / f"piece-{number}.ripieno" for number in range(40)]
    commands = {
        "build": [*room.command(folder / "out")[1:]],
        "watch": ["watch", room.place, "-o", folder / "out", "--allow", "all"],
        "import": ["import", score, "-o", folder / "imported.ripieno", "--overwrite"],
        "fmt": ["fmt", *many],
        "check": ["check", *many],
        "reprint": ["reprint", folder / "built" / "sluice"],
        "advise": ["advise", "harmony", room.place],
        "instruments": ["instruments"],
    }
    stopped = dict.fromkeys(commands, 0)
    for number in range(times):
        name = list(commands)[number % len(commands)]
        for piece in many:
            piece.write_text("\n".join(untidy) + "\n", encoding="utf-8")
        before = {path.name for path in folder.iterdir()}
        process = subprocess.Popen(
            [room.ripieno, *commands[name]], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        # Before it listens the system ends it, and nothing has been begun.
        time.sleep(random.uniform(0.03, 0.5))
        process.send_signal(random.choice([signal.SIGINT, signal.SIGTERM, signal.SIGHUP]))
        _, said = process.communicate(timeout=60)
        ended = process.returncode
        stopped[name] += ended == 130
        fair = ended in (0, 1, 130) or ended in (-signal.SIGINT, -signal.SIGTERM, -signal.SIGHUP)
        finding.expect(fair, f"{name} ends with {ended}: {said[-300:]}")
        made = {path.name for path in folder.iterdir()} - before - {"out", "imported.ripieno"}
        finding.expect(not made, f"{name} leaves {sorted(made)[:4]}")
        left = [path.name for path in folder.rglob(f"{STAGING}*") if path.name != ".ripieno-lock"]
        finding.expect(not left, f"{name} leaves {left[:4]}")
        torn = [piece.name for piece in many if len(piece.read_text("utf-8").splitlines()) < 40]
        finding.expect(not torn, f"{name} tears {torn[:4]}")
    finding.expect(stopped["watch"] > 0, "no command was stopped")
    print(f"        ({', '.join(f'{name} {count}' for name, count in stopped.items())} with 130)")
    return finding


def together(room, rounds, builders=8):
    finding = Finding(f"{builders} builders of one folder end whole or are refused")
    output = room.folder / "together"
    whole = refused = 0
    for number in range(rounds):
        room.choose(number % 2)
        processes = [
            subprocess.Popen(
                room.command(output), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
            )
            for _ in range(builders)
        ]
        for process in processes:
            _, said = process.communicate(timeout=300)
            whole += process.returncode == 0
            refused += process.returncode != 0
            fair = process.returncode == 0 or "another build" in said
            finding.expect(fair, f"round {number}: {said}")
        wrong = different(contents(output), room.whole[number % 2])
        finding.expect(not wrong, f"round {number}: {wrong}")
    finding.expect(whole >= rounds, f"{whole} builds of {rounds} rounds were whole")
    print(f"        ({whole} whole, {refused} refused)")
    return finding


def refused(finding, room, output, words, **options):
    """A build under some hardship: all is old or all is new, and only the latter is a success."""
    room.choose(1)
    run = room.build(output, **options)
    state = "new" if run.returncode == 0 else "old"
    wrong = different(contents(output), room.whole[run.returncode == 0])
    finding.expect(not wrong, f"{words}: not all {state}: {wrong} {run.stderr}")
    if run.returncode != 0:
        said = run.returncode in (2, 3) and run.stderr.strip()
        finding.expect(said, f"{words}: ends with {run.returncode}: {run.stderr}")
    return run.returncode == 0


def descriptors(room):
    finding = Finding("a build that may open few files is whole or not at all")
    output = room.folder / "descriptors"
    succeeded = []
    for most in range(3, 24):
        limit = lambda most=most: resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
        version = [room.ripieno, "--version"]
        started = subprocess.run(version, capture_output=True, preexec_fn=limit, check=False)
        if started.returncode != 0:
            continue  # The system cannot so much as load the program.
        finding.expect(not (wrong := room.rebuilt(0, output)), f"{most}: {wrong}")
        if refused(finding, room, output, f"{most} descriptors", preexec_fn=limit):
            succeeded.append(most)
    finding.expect(bool(succeeded), "no build succeeded")
    print(f"        ({succeeded[:1]} descriptors are enough)")
    return finding


def sizes(room):
    """The system ends a process that writes more than it may."""
    finding = Finding("a build that may write short files alone leaves none half-written")
    output = room.folder / "sizes"
    for most in (0, 1, 100, 1000, 3000, 10_000):
        finding.expect(not (wrong := room.rebuilt(0, output)), f"{most}: {wrong}")
        room.choose(1)
        limit = lambda most=most: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        room.build(output, preexec_fn=limit)
        torn = half_written(room, output)
        finding.expect(not torn, f"{most} bytes: {torn[:4]}")
        finding.expect(not (wrong := room.rebuilt(1, output)), f"{most}: {wrong}")
    return finding


def permissions(room):
    finding = Finding("a build that is not permitted to write changes nothing")
    output = room.folder / "permissions"
    options = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if os.geteuid() == 0 else {}
    room.rebuilt(0, output)
    folders = [output, *(path for path in sorted(output.rglob("*")) if path.is_dir())]
    if options:
        for path in (room.folder, room.folder.parent):
            path.chmod(path.stat().st_mode | 0o055)
        for path in [*folders, *(path for path in output.rglob("*") if path.is_file())]:
            os.chown(path, NOBODY, NOBODY)
    for folder in folders:
        folder.chmod(0o555)
        try:
            built = refused(finding, room, output, f"{folder.name} is closed", **options)
            finding.expect(not built, f"{folder} was written into")
        finally:
            folder.chmod(0o755)
    # A file that cannot be read is not known to be ours.
    closed = output / "sluice" / "ripieno.json"
    closed.chmod(0)
    built = refused(finding, room, output, "the list is closed", **options)
    finding.expect(not built, "a closed list was written over")
    closed.chmod(0o644)
    return finding


@contextmanager
def disk(folder, size, options=""):
    folder.mkdir(exist_ok=True)
    run = ["mount", "-t", "tmpfs", "-o", f"size={size}k{options}", "ripieno", folder]
    mounted = shutil.which("mount") and subprocess.run(run, capture_output=True, check=False)
    allowed = bool(mounted) and mounted.returncode == 0
    try:
        yield allowed
    finally:
        if allowed:
            subprocess.run(["umount", folder], check=True)


def full_disk(room):
    finding = Finding("a disk that becomes full keeps the old files or has the new ones")
    mount = room.folder / "disk"
    output = mount / "out"
    with disk(mount, 4096) as allowed:
        if not allowed:
            return None
        room.rebuilt(0, output)
        results = set()
        for left in (*range(0, 40, 4), *range(40, 1000, 40), 4096):
            finding.expect(not (wrong := room.rebuilt(0, output)), f"{left} kB: {wrong}")
            free = shutil.disk_usage(mount).free
            filler = mount / "filler"
            filler.write_bytes(bytes(max(0, free - left * 1024)))
            results.add(refused(finding, room, output, f"{left} kB left"))
            filler.unlink()
        finding.expect(results == {True, False}, f"no build failed, or none succeeded: {results}")
    with disk(mount, 4096, ",nr_inodes=240") as allowed:
        for left in range(0, 120, 4):
            finding.expect(not (wrong := room.rebuilt(0, output)), f"{left}: {wrong}")
            status = os.statvfs(mount)
            fillers = [mount / f"filler-{n}" for n in range(max(0, status.f_ffree - left))]
            for filler in fillers:
                filler.touch()
            refused(finding, room, output, f"{left} files left")
            for filler in fillers:
                filler.unlink()
    with disk(mount, 4096) as allowed:
        room.rebuilt(0, output)
        subprocess.run(["mount", "-o", "remount,ro", mount], check=True)
        built = refused(finding, room, output, "read-only")
        finding.expect(not built, "a read-only disk was written")
    return finding


def check(ripieno, folder, times=20):
    folder.mkdir(exist_ok=True)
    room = Room(ripieno, folder)
    yield kills(room, times)
    yield interrupts(room, 2 * times)
    yield together(room, max(2, times // 10))
    yield descriptors(room)
    yield sizes(room)
    yield permissions(room)
    disks = full_disk(room)
    if disks is None:
        print("skipped  a full disk: this process may not mount one")
    else:
        yield disks


def main(ripieno, times=200):
    with tempfile.TemporaryDirectory() as folder:
        report(check(ripieno, Path(folder) / "room", int(times)))


if __name__ == "__main__":
    main(*sys.argv[1:])
