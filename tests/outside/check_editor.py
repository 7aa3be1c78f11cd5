"""The language server with clients that are not ours: Neovim, and `pytest-lsp`.

Neovim (Debian's package) opens a broken piece, mends it by a fix, renames a voice, formats and
saves; the piece then builds. Where it is missing that is said, and with CI=true it is a failure.
"""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

from outputs import Finding

HERE = Path(__file__).resolve().parent / "editor"

FORCES = "ensemble duo {\n  era 1770\n  oboe 2\n}\n"
BROKEN = """\
use "forces.ripieno"

piece "Weir 🎻" { licence "CC0-1.0" }
form {
  1  metre 4/4, key D minor, tempo 1/4 at 96
  2  end
}
voice upper {
  1: 1/4 D5 E F G |
  2: 1/1 A5 |
}
scoring small for duo {
  oboe  palys upper as melody
}
"""


def neovim(ripieno, work):
    finding = Finding("Neovim finds, mends, renames and saves, and the piece builds")
    program = shutil.which("nvim")
    if program is None:
        why = "Neovim is missing: install it (Debian, Ubuntu: apt install neovim)."
        print(why)
        if os.environ.get("CI") == "true":
            finding.expect(False, why)
            return finding
        print("The language server was not tried with it.")
        return None
    folder = work / "neovim"
    folder.mkdir(parents=True)
    (folder / "broken.ripieno").write_text(BROKEN, encoding="utf-8")
    (folder / "forces.ripieno").write_text(FORCES, encoding="utf-8")
    environment = dict(os.environ, FOLDER=str(folder), RIPIENO=str(Path(ripieno).resolve()),
                       XDG_CACHE_HOME=str(work / "cache"), XDG_STATE_HOME=str(work / "state"))
    command = [program, "--headless", "-u", "NONE", "-i", "NONE", "-n", "-c",
               f"luafile {HERE / 'neovim.lua'}"]
    run = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=180,
                         check=False)
    lines = [line for line in (run.stdout + run.stderr).splitlines() if re.match(r"(ok|FAILED) ", line)]
    finding.expect(len(lines) >= 5, f"it said too little: {run.stdout[-400:]} {run.stderr[-400:]}")
    for line in lines:
        finding.expect(line.startswith("ok "), line)
    build = subprocess.run([ripieno, "build", "--format", "short", "-o", folder / "out", folder / "broken.ripieno"],
                           capture_output=True, text=True, timeout=60, check=False)
    finding.expect(build.returncode == 0, f"it does not build: {build.stderr}")
    finding.expect("voice weir-tune" in (folder / "broken.ripieno").read_text(encoding="utf-8"),
                   "what Neovim saved has no renamed voice")
    return finding


def protocol(ripieno, work):
    finding = Finding("an independent client finds the protocol kept")
    environment = dict(os.environ, RIPIENO=str(Path(ripieno).resolve()),
                       XDG_CACHE_HOME=str(work / "cache"))
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-rfE", "--tb=short",
               "-o", "asyncio_default_fixture_loop_scope=function", HERE / "test_protocol.py"]
    run = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=300,
                         cwd=work, check=False)
    counts = re.search(r"(\d+) passed", run.stdout)
    finding.expect(run.returncode == 0, run.stdout[-3000:] + run.stderr[-1000:])
    for _ in range(int(counts[1]) if counts else 0):
        finding.expect(True, "")
    finding.expect(counts is not None and int(counts[1]) >= 15, "it tried too little")
    return finding


def check(ripieno, work):
    work.mkdir()
    for finding in (neovim(ripieno, work), protocol(ripieno, work)):
        if finding is not None:
            yield finding
