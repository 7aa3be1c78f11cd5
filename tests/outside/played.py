"""What sounds in a MIDI file, read with mido. Times are in quarters from the beginning."""

from dataclasses import dataclass, field
from fractions import Fraction

import mido


@dataclass
class Track:
    """One track: notes as (on, off, key), everything else as (time, message)."""

    name: str
    port: int = 0
    notes: list = field(default_factory=list)
    channels: set = field(default_factory=set)
    programs: list = field(default_factory=list)
    """Controllers as (time, channel, number, value)."""
    controllers: list = field(default_factory=list)
    meta: list = field(default_factory=list)
    hanging: list = field(default_factory=list)
    end: Fraction | None = None


def read(path):
    """The file as mido sees it, and its tracks."""
    file = mido.MidiFile(str(path))
    return file, [_track(track, file.ticks_per_beat) for track in file.tracks]


def _track(messages, ticks_per_quarter):
    track, ticks, open_notes = Track(name=""), 0, {}
    for message in messages:
        ticks += message.time
        now = Fraction(ticks, ticks_per_quarter)
        if message.is_meta:
            track.meta.append((now, message))
            if message.type == "track_name":
                track.name = message.name
            elif message.type == "midi_port":
                track.port = message.port
            elif message.type == "end_of_track":
                track.end = now
            continue
        track.channels.add(message.channel)
        if message.type == "program_change":
            track.programs.append((now, message.program))
        elif message.type == "control_change":
            track.controllers.append((now, message.channel, message.control, message.value))
        elif message.type == "note_on" and message.velocity > 0:
            if message.note in open_notes:
                track.hanging.append((now, message.note, "struck while it sounds"))
            open_notes[message.note] = now
        elif message.type in ("note_on", "note_off"):
            if message.note not in open_notes:
                track.hanging.append((now, message.note, "ends without a beginning"))
                continue
            track.notes.append((open_notes.pop(message.note), now, message.note))
    track.hanging.extend((on, note, "never ends") for note, on in open_notes.items())
    track.notes.sort()
    return track


def meta(track, kind):
    """The meta events of a kind, with their times."""
    return [(now, message) for now, message in track.meta if message.type == kind]
