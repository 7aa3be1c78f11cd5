"""The samples as they sound: a General MIDI synthesizer plays every score.

FluidSynth, from Debian's packages, with the sound font TimGM6mb (free, General MIDI Level 1), knows
nothing of how the files were made. Each score must sound for as long as it should, must not be
silent where notes are held, must not be clipped, and must end: what sounds three seconds behind the
last note is a note that nobody ends.
"""

import multiprocessing
import os
import shutil
import subprocess
import tempfile
import wave
from pathlib import Path

import mido
import numpy

import outputs

SOUND_FONTS = (
    "/usr/share/sounds/sf2/TimGM6mb.sf2",
    "/usr/share/sounds/sf2/default-GM.sf2",
    "/usr/share/sounds/sf2/FluidR3_GM.sf2",
)
WHY = (
    "FluidSynth or its sound font is missing: install them "
    "(Debian, Ubuntu: apt install fluidsynth timgm6mb-soundfont)."
)
RATE = 22050
# The gain that FluidSynth has if nothing is said.
GAIN = 0.2
# Seconds of silence behind the last event, to hear whether anything goes on.
BEHIND = 6.0
# Seconds after which a note that was ended is no longer heard; the reverberation of the synthesizer
# is off.
DECAY = 3.0
# Below this nobody hears anything (our heuristic): decibels under full scale.
SILENCE = -66.0
WINDOW = 0.25


def available():
    """The sound font, if all that is needed is there."""
    if shutil.which("fluidsynth") is None:
        return None
    return next((font for font in SOUND_FONTS if Path(font).is_file()), None)


def spans(midi):
    """When any note is held, in seconds, as a list of (from, to), and the end of the last note."""
    now = 0.0
    held = {}
    found = []
    since = None
    for message in midi:
        now += message.time
        if message.type not in ("note_on", "note_off"):
            continue
        key = (message.channel, message.note)
        if message.type == "note_on" and message.velocity > 0:
            if not held:
                since = now
            held[key] = held.get(key, 0) + 1
        elif key in held:
            held[key] -= 1
            if held[key] == 0:
                del held[key]
            if not held:
                found.append((since, now))
    return found, found[-1][1] if found else 0.0


def decibels(samples):
    level = float(numpy.sqrt(numpy.mean(numpy.square(samples)))) if len(samples) else 0.0
    return 20 * numpy.log10(max(level, 1e-9))


def rendered(path, font, folder):
    """The sound of a file, with silence behind it: samples from -1 to 1, both channels mixed."""
    midi = mido.MidiFile(path)
    tempo = 500000
    for track in midi.tracks:
        for message in track:
            tempo = message.tempo if message.type == "set_tempo" else tempo
    for track in midi.tracks:
        track[-1] = track[-1].copy(
            time=track[-1].time + int(mido.second2tick(BEHIND, midi.ticks_per_beat, tempo))
        )
    longer, sound = folder / "longer.mid", folder / "sound.wav"
    midi.save(longer)
    command = ["fluidsynth", "-ni", "-q", "-g", str(GAIN), "-r", str(RATE), "-R", "0", "-C", "0"]
    command += ["-T", "wav", "-O", "s16", "-F", str(sound), font, str(longer)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    if run.returncode != 0 or not sound.is_file():
        raise RuntimeError(f"FluidSynth failed: {run.stderr[-300:]}")
    with wave.open(str(sound)) as file:
        samples = numpy.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
        channels = file.getnchannels()
    return samples.reshape(-1, channels)


def listen(job):
    """Plays one score; gives back the finding."""
    name, path, font = job
    finding = outputs.Finding(f"{name} sounds as long as it should, is not clipped and ends")
    with tempfile.TemporaryDirectory() as folder:
        held, last = spans(mido.MidiFile(path))
        try:
            raw = rendered(path, font, Path(folder))
        except RuntimeError as error:
            finding.expect(False, str(error))
            return finding
    samples = raw.astype(numpy.float64).mean(axis=1) / 32768
    length = len(samples) / RATE
    finding.expect(
        last + DECAY <= length, f"it lasts {length:.1f} s, and its last note ends at {last:.1f} s"
    )
    clipped = int(numpy.count_nonzero(numpy.abs(raw.astype(numpy.int32)) >= 32767))
    finding.expect(clipped == 0, f"{clipped} samples are clipped")

    def level(begins, ends):
        return decibels(samples[int(begins * RATE) : int(ends * RATE)])

    for begins, ends in held:
        at = begins
        while at + WINDOW <= ends:
            loud = level(at, at + WINDOW)
            finding.expect(loud > SILENCE, f"silent at {at:.2f} s: {loud:.0f} dB")
            at += WINDOW
    for (_, ends), (begins, _) in zip(held, held[1:]):
        if begins - ends > DECAY + WINDOW:
            loud = level(ends + DECAY, begins)
            finding.expect(loud < SILENCE, f"a note goes on at {ends + DECAY:.1f} s: {loud:.0f} dB")
    loud = level(last + DECAY, length)
    finding.expect(loud < SILENCE, f"a note goes on behind the last one: {loud:.0f} dB")
    return finding


def check(scorings):
    """Every score that was built, on as many processors as there are."""
    font = available()
    if font is None:
        finding = outputs.Finding("a synthesizer plays the scores")
        finding.expect(os.environ.get("CI") != "true", WHY)
        if finding.passed:
            print(f"        {WHY} How the scores sound was not checked.")
            return
        yield finding
        return
    jobs = [(scoring.name, scoring.score("mid"), font) for scoring in scorings]
    with multiprocessing.Pool(os.cpu_count()) as pool:
        yield from pool.imap(listen, jobs)
