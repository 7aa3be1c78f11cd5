"""What `src/compiler/harmony/learned.rs` holds, and how far anybody could come.

The costs of hearing one voice or two as chords are learned: a conditional random field over beats
whose states are chords (12 roots, 9 qualities) and whose features are those of
`src/compiler/harmony/thin.rs`. It learns from

- every second analysed piece that `check_harmony.py` compares (chorales and madrigals, each list by
  itself, from the first), and
- every second of the chorales that nobody analysed, by what a field of the same kind, learned from
  four voices of the analysed ones, says of all their voices. Chorales with a tune that is among those
  held back are left out.

The other analysed pieces are held back: they are only looked at in the last lines.

    python learn_harmony.py learn > ../../src/compiler/harmony/learned.rs
    python learn_harmony.py bound

`bound` asks how far a melody alone says its chords at all: it pairs the chorales that harmonize one
tune, and counts on how many beats two of them have one root, and how often the majority of three
and more others says the root of a further one. No method can hear in a melody what its own
harmonizers do not agree upon.

Learning takes half an hour of one core.
"""

import itertools
import sys
import warnings
from collections import Counter, defaultdict
from types import SimpleNamespace

import numpy as np
from music21 import converter
from music21.corpus import chorales

import check_harmony as analyses

QUALITIES = ["maj", "min", "dim", "aug", "7", "m7", "maj7", "m7b5", "dim7"]
STATES = 12 * len(QUALITIES)
# Members of each quality: semitones, way along the line of fifths, kind (root, major and minor third,
# perfect, diminished and augmented fifth, minor, major and diminished seventh).
ROOT, MAJOR, MINOR, FIFTH = (0, 0, 0), (4, 4, 1), (3, -3, 2), (7, 1, 3)
FLAT_FIFTH, SHARP_FIFTH = (6, -6, 4), (8, 8, 5)
SEVENTH, MAJOR_SEVENTH, FLAT_SEVENTH = (10, -2, 6), (11, 5, 7), (9, -9, 8)
MEMBERS = [
    [ROOT, MAJOR, FIFTH], [ROOT, MINOR, FIFTH], [ROOT, MINOR, FLAT_FIFTH],
    [ROOT, MAJOR, SHARP_FIFTH], [ROOT, MAJOR, FIFTH, SEVENTH], [ROOT, MINOR, FIFTH, SEVENTH],
    [ROOT, MAJOR, FIFTH, MAJOR_SEVENTH], [ROOT, MINOR, FLAT_FIFTH, SEVENTH],
    [ROOT, MINOR, FLAT_FIFTH, FLAT_SEVENTH],
]
Q = len(QUALITIES)
KIND = np.full((STATES, 12), -1)
FIFTHS = np.zeros((STATES, 12), int)
for _root, (_place, _members) in itertools.product(range(12), enumerate(MEMBERS)):
    for _up, _way, _kind in _members:
        KIND[_root * Q + _place, (_root + _up) % 12] = _kind
        FIFTHS[_root * Q + _place, (_root + _up) % 12] = _way
INSIDE = KIND >= 0

EXCUSES, KINDS = 7, 9
# Dense features, by name: where each group begins, and how many there are.
GROUPS = {"foreign": 7, "missing": 9, "bass": 9, "foreign_bass": 2, "misspelled": 1, "top": 9,
          "unheard": 1, "whole_seventh": 5, "whole_triad": 1, "foreign_throughout": 2}
AT = dict(zip(GROUPS, np.cumsum([0, *GROUPS.values()])[:-1]))
DENSE = sum(GROUPS.values())
LONGEST = 96
NEVER = -1e9
SAME = np.eye(12, dtype=bool)
UP = (np.arange(12)[None, :] - np.arange(12)[:, None]) % 12


def name_of(pitch):
    """Place on the line of fifths."""
    return "FCGDAEB".index(pitch.step) - 1 + 7 * int(pitch.alter)


def class_of(fifths):
    return fifths * 7 % 12


def notes_of(part):
    """[start, length, [(key number, name)]] with ties taken together, in quarters."""
    notes = []
    for thing in part.flatten().notes:
        length, start = float(thing.duration.quarterLength), float(thing.getOffsetInHierarchy(part))
        if length == 0:
            continue
        pitches = [(pitch.midi, name_of(pitch)) for pitch in thing.pitches]
        tied = thing.tie is not None and thing.tie.type in ("continue", "stop")
        if tied and notes and abs(sum(notes[-1][:2]) - start) < 1e-6 and notes[-1][2] == pitches:
            notes[-1][1] += length
        else:
            notes.append([start, length, pitches])
    return notes


def bars_of(score):
    bars, metre = [], None
    for measure in score.parts[0].getElementsByClass("Measure"):
        metre = measure.timeSignature or metre
        full = float(metre.barDuration.quarterLength)
        length = float(measure.duration.quarterLength) or full
        bars.append((float(measure.offset), length, full, metre.numerator, metre.denominator))
    return bars


def piece(score, key, truth=None):
    return SimpleNamespace(parts=[notes_of(part) for part in score.parts], bars=bars_of(score),
                           key=(name_of(key.tonic), key.mode == "minor"), truth=truth)


def analysed():
    """The analysed pieces by texture, in order."""
    found = defaultdict(list)
    for texture, path in analyses.paths():
        score, analysis = analyses.score_of(texture, path), converter.parse(path)
        if score is None:
            continue
        events = analyses.timeline(analysis, analyses.bars_of(score.parts[0]))
        if not events or analyses.belongs(score, events) < analyses.BELONGS:
            continue
        truth = [(float(start), name_of(figure.root()), [name_of(p) for p in figure.pitches])
                 for start, figure in events]
        found[texture].append(piece(score, events[0][1].key, truth))
    return found


def unanalysed():
    """Chorales in four parts, in the corpus's order after those that are analysed."""
    for number in range(21, 372):
        score = next(iter(chorales.Iterator(number, number)))
        if len(score.parts) == 4:
            yield piece(score, score.analyze("key"))


def quality(root, names):
    ways = {name - root for name in names}
    if 4 in ways:
        return 3 if 8 in ways else 4 if -2 in ways else 6 if 5 in ways else 0
    if -3 in ways and -6 in ways:
        return 8 if -9 in ways else 7 if -2 in ways else 2
    if -3 in ways:
        return 5 if -2 in ways else 1
    return 4 if -2 in ways else 0


def excuse(height, note, before, after, held, on_beat):
    """What excuses a note outside the chord, as `evidence.rs` has it."""
    def near(other, joined, way):
        return joined and any(way(pitch - height) for pitch, _ in other[2])

    def step(way):
        return 1 <= abs(way) <= 2

    joined = before is not None and abs(sum(before[:2]) - note[0]) < 1e-6
    goes_on = after is not None and abs(after[0] - sum(note[:2])) < 1e-6
    repeats = near(before, joined, lambda way: way == 0)
    reached = near(before, joined, step) or repeats
    left = near(after, goes_on, step)
    if (held or (repeats and on_beat)) and near(after, goes_on, lambda way: -2 <= way <= -1):
        return 1
    if reached and left:
        return 2 if on_beat else 3
    if left:
        return 4
    if reached and not on_beat:
        return 5
    return 6 if near(after, goes_on, lambda way: way == 0) and not on_beat else 0


def weight(count, unit, position):
    compound = count % 3 == 0 and count > 3
    beats, beat = (count // 3, 12 / unit) if compound else (count, 4 / unit)
    place = position / beat
    if position < 1e-9:
        return 3
    if abs(place - round(place)) > 1e-6:
        return 0
    return 2 if beats % 2 == 0 and round(place) * 2 == beats else 1


def cut(bars):
    slots = []
    for index, (start, length, full, count, unit) in enumerate(bars):
        compound = count % 3 == 0 and count > 3
        beat = 12 / unit if compound else 4 / unit
        step = beat / 3 if compound and beat >= 3 else beat
        while not compound and step >= 2:
            step /= 2
        step = max(step, 0.5)
        into, at = (full - length if index == 0 and length < full else 0.0), 0.0
        while at < length - 1e-9:
            left = step - (at + into) % step
            slots.append(SimpleNamespace(
                start=start + at, length=min(left, length - at), bar=index,
                weight=weight(count, unit, at + into), kinds=np.zeros((EXCUSES, 12)),
                names=[None] * 12, bass=None, top=None, count=0, struck=False))
            at += slots[-1].length
    return slots


def slots_of(one, parts):
    slots = cut(one.bars)
    for notes in parts:
        first = 0
        for index, note in enumerate(notes):
            end = sum(note[:2])
            while first < len(slots) and slots[first].start + slots[first].length <= note[0] + 1e-9:
                first += 1
            around = (notes[index - 1] if index else None,
                      notes[index + 1] if index + 1 < len(notes) else None)
            for slot in itertools.takewhile(lambda s, e=end: s.start < e - 1e-9, slots[first:]):
                hear(slot, note, end, around)
    for slot in slots:
        slot.sounding = slot.kinds.sum(0)
    for _, of_bar in itertools.groupby(slots, lambda slot: slot.bar):
        of_bar = list(of_bar)
        whole = sum(slot.sounding for slot in of_bar)
        for slot in of_bar:
            elsewhere = 0.4 * np.minimum(whole - slot.sounding, 1)
            slot.present = np.maximum(np.minimum(2 * slot.sounding, 1), elsewhere)
    for index, slot in enumerate(slots):
        total = slot.sounding.sum()
        slot.texture = 0 if total <= 1.3 else 1 if total <= 2.3 else 2
        before = slots[index - 1].top if index else None
        after = slots[index + 1].top if index + 1 < len(slots) else None
        slot.goal = slot.top is not None and (after is None or (
            slot.top["length"] >= 2 * slot.length - 1e-9 and not slot.top["held"]
            and (before is None or before["length"] < slot.top["length"] - 1e-9)))
    return slots


def hear(slot, note, end, around):
    begins, ends = max(note[0], slot.start), min(end, slot.start + slot.length)
    if ends <= begins + 1e-9:
        return
    held = note[0] < slot.start - 1e-9
    slot.struck |= not held
    for height, name in note[2]:
        kind = excuse(height, note, *around, held, abs(note[0] - slot.start) < 1e-6)
        own = class_of(name)
        slot.kinds[kind, own] += (ends - begins) / slot.length
        if slot.names[own] is None:
            slot.names[own] = name
        slot.count += 1
        here = {"at": begins, "height": height, "class": own, "kind": kind, "held": held,
                "length": note[1]}
        if slot.bass is None or (begins, height) < (slot.bass["at"], slot.bass["height"]):
            slot.bass = here
        if slot.top is None or (begins, -height) < (slot.top["at"], -slot.top["height"]):
            slot.top = here


def scale(key):
    tonic, minor = key
    names = [*range(tonic - 4, tonic + 3), tonic + 5] if minor else range(tonic - 1, tonic + 6)
    inside = np.zeros(12, bool)
    inside[[class_of(name) for name in names]] = True
    return inside


def dense(slot, key):
    """The features of a slot for every state."""
    values = np.zeros((STATES, DENSE), np.float32)
    if slot.bass is None:
        return values
    lowest = key[0] - (6 if key[1] else 5)
    spelling = {class_of(name): name for name in range(lowest, lowest + 12)}
    absent = 1 - slot.present
    values[:, :EXCUSES] = ~INSIDE @ slot.kinds.T
    bass, top = KIND[:, slot.bass["class"]], KIND[:, slot.top["class"]]
    for kind in range(KINDS):
        values[:, AT["missing"] + kind] = ((KIND == kind) * absent).sum(1)
        values[:, AT["bass"] + kind] = (bass == kind) & (slot.count > 1)
        values[:, AT["top"] + kind] = top == kind
    excused = int(slot.bass["kind"] != 0)
    values[:, AT["foreign_bass"] + excused] = (bass < 0) & (slot.count > 1)
    for own in range(12):
        if slot.names[own] is None:
            continue
        for state in np.nonzero(INSIDE[:, own])[0]:
            root = slot.names[state // Q]
            root = spelling[state // Q] if root is None else root
            values[state, AT["misspelled"]] += slot.names[own] != root + FIFTHS[state, own]
    values[:, AT["unheard"]] = (INSIDE * ~scale(key) * absent).sum(1)
    full = slot.sounding >= 0.9
    whole = (INSIDE <= full).all(1)
    for place in range(4, Q):
        values[place::Q, AT["whole_seventh"] + place - 4] = whole[place::Q]
    alone = ~(~INSIDE & full).any(1)
    for place in range(4):
        values[place::Q, AT["whole_triad"]] = (whole & alone)[place::Q]
    for own in np.nonzero(full)[0]:
        excused = int(slot.kinds[:, own].argmax() != 0)
        values[:, AT["foreign_throughout"] + excused] += ~INSIDE[:, own]
    return values


def sequence(one, parts, states=None):
    """A piece, or some of its parts, as the field sees it: states relative to the tonic."""
    slots = slots_of(one, parts)
    tonic = class_of(one.key[0])
    if states is None:
        states = np.full(len(slots), -1)
        for index, slot in enumerate(slots):
            held = [chord for chord in one.truth or [] if chord[0] <= slot.start + 1e-6]
            if held:
                _, root, names = held[-1]
                states[index] = (class_of(root) - tonic) % 12 * Q + quality(root, names)
    features = np.stack([dense(slot, one.key) for slot in slots])
    features = np.roll(features.reshape(-1, 12, Q, DENSE), -tonic, axis=1)
    return SimpleNamespace(
        mode=int(one.key[1]), tonic=tonic, states=states, last=True,
        dense=features.reshape(-1, STATES, DENSE),
        start=np.array([slot.start for slot in slots]),
        **{what: np.array([int(getattr(slot, what)) for slot in slots])
           for what in ("texture", "weight", "goal")},
        still=np.array([int(not slot.struck) for slot in slots]),
        held=np.array([int(bool(slot.bass and slot.bass["held"])) for slot in slots]))


ALONG = ("dense", "states", "texture", "weight", "goal", "still", "held", "start")


def batch(sequences, longest=None):
    """Sequences side by side, long ones cut."""
    pieces = []
    for whole in sequences:
        count = len(whole.start)
        step = longest or count
        for first in range(0, count, step):
            if first == 0 or count - first >= 8:
                after = min(first + step, count)
                pieces.append(SimpleNamespace(
                    mode=whole.mode, last=after == count, count=after - first,
                    **{what: getattr(whole, what)[first:after] for what in ALONG}))
    most = max(one.count for one in pieces)
    b = SimpleNamespace(count=np.array([one.count for one in pieces]),
                        mode=np.array([one.mode for one in pieces]),
                        last=np.array([one.last for one in pieces]))
    b.mask = np.arange(most)[None, :] < b.count[:, None]
    for what in ALONG:
        first = getattr(pieces[0], what)
        joined = np.full((len(pieces), most, *first.shape[1:]), -1 if what == "states" else 0,
                         first.dtype)
        for row, one in zip(joined, pieces):
            row[:one.count] = getattr(one, what)
        setattr(b, what, joined)
    return b


SHAPES = {"chord": (3, 2, 12, Q), "dense": (3, DENSE), "goal": (3, 2, 12), "down": (3, 2, 12),
          "change": (3, 4), "same_root": (3, 4), "still": (3,), "held": (3,), "motion": (3, 12),
          "degrees": (3, 2, 12, 12), "final": (2, 12)}
# How strongly each group is drawn to nothing.
DRAWN = {"chord": 0.5, "dense": 0.05, "goal": 0.5, "down": 1.0, "change": 0.05, "same_root": 0.05,
         "still": 0.05, "held": 0.05, "motion": 0.3, "degrees": 2.0, "final": 1.0}


def nothing():
    return {what: np.zeros(shape) for what, shape in SHAPES.items()}


def ends(b):
    rows = np.nonzero(b.last)[0]
    return rows, b.count[rows] - 1


def scores(b, p):
    mode = b.mode[:, None]
    of_slot = np.einsum("btsd,btd->bts", b.dense, p["dense"][b.texture].astype(np.float32))
    of_slot = of_slot + p["chord"][b.texture, mode].reshape(of_slot.shape)
    roots = p["goal"][b.texture, mode] * b.goal[..., None]
    roots += p["down"][b.texture, mode] * (b.weight == 3)[..., None]
    rows, last = ends(b)
    roots[rows, last] += p["final"][b.mode[rows]]
    of_slot += np.repeat(roots, Q, axis=2)
    still = p["still"][b.texture] * b.still
    change = p["change"][b.texture, b.weight] + still + p["held"][b.texture] * b.held
    ways = p["motion"][:, UP][b.texture] + p["degrees"][b.texture, mode] + change[..., None, None]
    return of_slot, ways, p["same_root"][b.texture, b.weight] + still


def lse(x, axis):
    most = x.max(axis=axis, keepdims=True)
    return (most + np.log(np.exp(x - most).sum(axis=axis, keepdims=True))).squeeze(axis)


def by_root(x):
    return lse(x.reshape(*x.shape[:-1], 12, Q), -1)


def forward(b, of_slot, ways, same):
    reached = np.zeros_like(of_slot)
    reached[:, 0] = of_slot[:, 0]
    for t in range(1, of_slot.shape[1]):
        roots = by_root(reached[:, t - 1])
        into = lse(np.where(SAME, NEVER, roots[:, :, None] + ways[:, t]), 1)
        into = np.logaddexp(into, roots + same[:, t, None])
        onward = np.logaddexp(np.repeat(into, Q, axis=1), reached[:, t - 1]) + of_slot[:, t]
        reached[:, t] = np.where(b.mask[:, t, None], onward, reached[:, t - 1])
    return reached


def backward(b, of_slot, ways, same):
    behind = np.zeros_like(of_slot)
    for t in range(of_slot.shape[1] - 2, -1, -1):
        after = of_slot[:, t + 1] + behind[:, t + 1]
        roots = by_root(after)
        out = lse(np.where(SAME, NEVER, roots[:, None, :] + ways[:, t + 1]), 2)
        out = np.logaddexp(out, roots + same[:, t + 1, None])
        behind[:, t] = np.where(b.mask[:, t + 1, None],
                                np.logaddexp(np.repeat(out, Q, axis=1), after), 0)
    return behind


def counted(b, of_state, changes, same):
    """Sums of features, from how probable states and steps are."""
    g = nothing()
    roots = of_state.reshape(*of_state.shape[:2], 12, Q).sum(3)
    new_root = changes.sum((2, 3))
    for texture, mode in itertools.product(range(3), range(2)):
        here = (b.texture == texture) & b.mask & (b.mode == mode)[:, None]
        g["dense"][texture] += np.einsum("ns,nsd->d", of_state[here].astype(np.float32),
                                         b.dense[here])
        g["chord"][texture, mode] = of_state[here].sum(0).reshape(12, Q)
        g["goal"][texture, mode] = roots[here & (b.goal == 1)].sum(0)
        g["down"][texture, mode] = roots[here & (b.weight == 3)].sum(0)
        step = here[:, 1:]
        g["degrees"][texture, mode] = changes[step].sum(0)
        for beat in range(4):
            on = step & (b.weight[:, 1:] == beat)
            g["change"][texture, beat] += new_root[on].sum()
            g["same_root"][texture, beat] += same[on].sum()
        g["still"][texture] += ((new_root + same) * b.still[:, 1:])[step].sum()
        g["held"][texture] += (new_root * b.held[:, 1:])[step].sum()
    for texture in range(3):
        all_modes = g["degrees"][texture].sum(0)
        g["motion"][texture] = np.bincount(UP.ravel(), all_modes.ravel(), 12)
    for row, last in zip(*ends(b)):
        g["final"][b.mode[row]] += roots[row, last]
    return g


def expected(b, of_slot, ways, same):
    reached, behind = forward(b, of_slot, ways, same), backward(b, of_slot, ways, same)
    total = lse(reached[np.arange(len(b.count)), b.count - 1], 1)
    of_state = np.exp(reached + behind - total[:, None, None]) * b.mask[..., None]
    before, after = by_root(reached), by_root(of_slot + behind)
    step = b.mask[:, 1:]
    changes = before[:, :-1, :, None] + ways[:, 1:] + after[:, 1:, None] - total[:, None, None, None]
    changes = np.exp(np.where(SAME, NEVER, changes)) * step[..., None, None]
    stays = before[:, :-1] + after[:, 1:] + same[:, 1:, None] - total[:, None, None]
    return counted(b, of_state, changes, np.exp(np.minimum(stays, 0)).sum(2) * step)


def given(b):
    """The same of the analysis."""
    states = b.states.copy()
    for t in range(1, states.shape[1]):
        states[:, t] = np.where(states[:, t] < 0, states[:, t - 1], states[:, t])
    states = np.maximum(states, 0)
    of_state = np.eye(STATES, dtype=np.float32)[states] * b.mask[..., None]
    roots = states // Q
    step, moves = b.mask[:, 1:], roots[:, 1:] != roots[:, :-1]
    one = np.eye(12)
    changes = one[roots[:, :-1]][..., None] * one[roots[:, 1:]][:, :, None, :]
    changes = changes * (moves & step)[..., None, None]
    same = ~moves & (states[:, 1:] != states[:, :-1]) & step
    return counted(b, of_state, changes, same.astype(float))


def learn(batches, rounds=60, rate=0.12):
    p = nothing()
    mean, spread = nothing(), nothing()
    wanted = [given(b) for b, _ in batches]
    for turn in range(1, rounds + 1):
        slope = {what: -DRAWN[what] * p[what] for what in p}
        for (b, share), want in zip(batches, wanted):
            have = expected(b, *scores(b, p))
            for what in p:
                slope[what] += share * (want[what] - have[what])
        for what in p:
            mean[what] = 0.9 * mean[what] + 0.1 * slope[what]
            spread[what] = 0.99 * spread[what] + 0.01 * slope[what] ** 2
            way = mean[what] / (1 - 0.9 ** turn)
            way /= np.sqrt(spread[what] / (1 - 0.99 ** turn)) + 1e-6
            p[what] += rate * (1 if turn < rounds * 0.7 else 0.3) * way
    return p


def likeliest(b, p):
    of_slot, ways, same = scores(b, p)
    for row, count in enumerate(b.count):
        best, origins = of_slot[row, 0], []
        for t in range(1, count):
            roots = best.reshape(12, Q)
            place, most = roots.argmax(1), roots.max(1)
            steps = np.where(SAME, NEVER, most[:, None] + ways[row, t])
            origin, into = steps.argmax(0), steps.max(0)
            stays = most + same[row, t]
            came = np.where(stays > into, np.arange(12) * Q + place, origin * Q + place[origin])
            into, came = np.repeat(np.maximum(stays, into), Q), np.repeat(came, Q)
            origins.append(np.where(best >= into, np.arange(STATES), came))
            best = np.maximum(best, into) + of_slot[row, t]
        path = [int(best.argmax())]
        for came in reversed(origins):
            path.append(int(came[path[-1]]))
        yield np.array(path[::-1])


def right(b, p):
    hits = beats = 0
    for states, path in zip(b.states, likeliest(b, p)):
        states = states[:len(path)]
        hits += (path // Q == states // Q)[states >= 0].sum()
        beats += (states >= 0).sum()
    return hits / beats


def voices(one, count):
    return {1: one.parts[:1], 2: [one.parts[0], one.parts[-1]]}.get(count, one.parts)


def tune(one):
    notes = one.parts[0]
    return tuple(b[2][-1][0] - a[2][-1][0] for a, b in zip(notes, notes[1:]))[:20]


def figures(value):
    value = np.asarray(value)
    if value.ndim == 0:
        return repr(round(float(value), 2) + 0.0)
    return "[" + ", ".join(figures(one) for one in value) + "]"


HEAD = """//! Figures for one voice and for two: learned, not set by hand.
//!
//! Source: the chorales in four parts of the corpus of music21, and the Roman-numeral analyses that it
//! carries of chorales and madrigals (of the analysed pieces every second one; the others are held
//! back and judge what was learned). `tests/outside/learn_harmony.py` tells how, and writes this page.

use super::thin::Learned;
"""


def page(p, texture):
    of = {group: p["dense"][texture][AT[group]:AT[group] + count]
          for group, count in GROUPS.items()}
    # Two voices never sound a whole chord.
    of = {group: value[0] if len(value) == 1 else value for group, value in of.items()
          if group not in ("whole_seventh", "whole_triad")}
    of |= {"over_held_bass": p["held"][texture]}
    of |= {what: p[what][texture] for what in ("chord", "down", "goal", "change", "still", "motion",
                                               "degrees")}
    return "".join(f"    {what}: {figures(value)},\n" for what, value in of.items())


def of_four_voices(found):
    """What says the states of a chorale by all its voices."""
    taught = [one for texture in found for one in found[texture][::2]]
    field = learn([(batch([sequence(one, one.parts) for one in taught], LONGEST), 1.0)])

    def states(one):
        whole = sequence(one, one.parts, np.zeros(0, int))
        whole.states = np.full(len(whole.start), -1)
        return next(likeliest(batch([whole]), field))

    return states


def main_learn():
    found = analysed()
    taught = [one for texture in found for one in found[texture][::2]]
    held_back = {texture: found[texture][1::2] for texture in found}
    states = of_four_voices(found)
    tunes = {tune(one) for of in held_back.values() for one in of}
    more = [one for one in unanalysed() if tune(one) not in tunes and len(one.bars) < 40][::2]
    more = [(one, states(one)) for one in more]
    print(HEAD)
    for count, name, words in ((1, "ONE", "A melody alone."), (2, "TWO", "Two voices.")):
        own = batch([sequence(one, voices(one, count)) for one in taught], LONGEST)
        others = [sequence(one, voices(one, count), known) for one, known in more]
        p = learn([(own, 1.0), (batch(others, LONGEST), 0.7)])
        print(f"/// {words}\npub(super) static {name}: Learned = Learned {{")
        print(page(p, count - 1) + "};\n")
        for texture, of in held_back.items():
            share = right(batch([sequence(one, voices(one, count)) for one in of]), p)
            print(f"{count} voices, {texture}, held back: {share:.1%}", file=sys.stderr)
    print("/// The root of the last chord of a piece, by mode and degree.")
    print(f"pub(super) static FINAL: [[f32; 12]; 2] = {figures(p['final'])};")


def beats_of(one):
    notes, beats, index = one.parts[0], [], 0
    for at in range(int(sum(notes[-1][:2]))):
        while index < len(notes) and sum(notes[index][:2]) <= at + 1e-9:
            index += 1
        sounds = index < len(notes) and notes[index][0] <= at + 1e-9
        beats.append(notes[index][2][-1][0] if sounds else None)
    return beats


def main_bound():
    states = of_four_voices(analysed())
    settings = list(unanalysed())
    tunes = [beats_of(one) for one in settings]
    roots = {}

    def heard(index):
        if index not in roots:
            one = settings[index]
            whole = sequence(one, one.parts, np.zeros(0, int))
            path = (states(one) // Q + class_of(one.key[0])) % 12
            roots[index] = dict(zip(whole.start.round(2), path))
        return roots[index]

    others = defaultdict(list)
    hits = beats = 0
    for a, b in itertools.combinations(range(len(settings)), 2):
        ways = [x - y for x, y in zip(tunes[a], tunes[b]) if None not in (x, y)]
        if len(tunes[a]) != len(tunes[b]) or len(ways) < 24:
            continue
        (way, count), = Counter(ways).most_common(1)
        if count < 0.97 * len(tunes[a]):
            continue
        pairs = [(heard(a)[at] - heard(b)[at] - way) % 12 == 0 for at in heard(a) if at in heard(b)]
        if sum(pairs) > 0.97 * len(pairs):
            continue  # one setting, printed twice
        hits, beats = hits + sum(pairs), beats + len(pairs)
        others[a].append((b, way))
        others[b].append((a, -way))
    print(f"two harmonizations of one tune agree on {hits / beats:.1%} of {beats} beats")
    hits = beats = 0
    for a, of in others.items():
        for at, root in heard(a).items():
            votes = [(heard(b)[at] + way) % 12 for b, way in of if at in heard(b)]
            if len(of) >= 3 and votes:
                hits, beats = hits + (Counter(votes).most_common(1)[0][0] == root), beats + 1
    print(f"the majority of three and more others says {hits / beats:.1%} of {beats} roots")


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    {"learn": main_learn, "bound": main_bound}[sys.argv[1]]()
