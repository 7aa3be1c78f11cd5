//! What a draft is made of, how it is written down, and who gives way to a finding.

use super::*;

/// What the draft is made of.
pub(super) struct Plan<'a> {
    piece: &'a Piece,
    ensemble: &'a Ensemble,
    pub(super) rows: Vec<Row>,
    /// Where the sections begin and end.
    sections: Vec<(Time, Time)>,
    pub(super) slots: Vec<Slot>,
    /// Voices that were given to a slot because nobody played them.
    given: Vec<(usize, usize)>,
    /// Codes and bars of what the voices themselves bring, whoever plays them.
    allowed: Vec<(&'static str, BarNumbers)>,
    voices: (usize, Option<usize>, Vec<usize>),
    /// How far the piece has grown in each section.
    growth: Vec<u8>,
}

impl<'a> Plan<'a> {
    pub(super) fn new(
        piece: &'a Piece,
        ensemble: &'a Ensemble,
        kept: Option<&crate::resolve::Scoring>,
        asked: &Asked,
    ) -> Plan<'a> {
        let all = voices(piece);
        let (tune, bass, inner) = all.clone();
        let sections = sections(&piece.form, &piece.voices[tune].music.notes.to_vec());
        let growth = growth(piece, tune, &sections);
        let forte: Vec<bool> = sections.iter().map(|section| is_forte(piece, *section)).collect();
        let rows = rows(piece, ensemble, kept);
        let mut chance = Chance(asked.seed ^ ((asked.lean as u64) << 32));
        let mut slots = Vec::new();
        for (row, line) in rows.iter().enumerate() {
            // Each line begins its round of tasks at another place.
            let turn = chance.below(6);
            for (section, &(from, to)) in sections.iter().enumerate() {
                let music = Music {
                    piece,
                    tune,
                    bass,
                    inner: inner.clone(),
                    from,
                    to,
                    growth: growth[section],
                    forte: forte[section],
                };
                let who = &ensemble.players[line.players[0]];
                let rank = rank(ensemble, line);
                let tasks =
                    tasks(&music, ensemble, who, rank, kept.is_none(), asked.lean, turn + section);
                slots.push(Slot { row, section, tasks, chosen: 0 });
            }
        }
        Plan {
            piece,
            ensemble,
            rows,
            sections,
            slots,
            given: Vec::new(),
            allowed: Vec::new(),
            voices: all,
            growth,
        }
    }

    /// The draft as text, and for each of its lines where it begins in it and which slots it has; what
    /// it allows stands last and has none.
    pub(super) fn text(&self, name: &str, asked: &Asked) -> (String, Vec<Span>) {
        let mut text = String::from("\n// A draft: a beginning to argue with, and nothing more.\n");
        text.push_str(&format!("scoring {name} for {} {{\n", asked.ensemble));
        if let Some(keep) = &asked.keep {
            text.push_str(&format!("  keep {keep}\n"));
        }
        let mut spans = Vec::new();
        for (row, line) in self.rows.iter().enumerate() {
            let own: Vec<usize> =
                (0..self.slots.len()).filter(|slot| self.slots[*slot].row == row).collect();
            let mut done: Vec<&Task> = Vec::new();
            for &slot in &own {
                let task = self.task(slot);
                if done.iter().any(|known| (&known.deed, known.role) == (&task.deed, task.role)) {
                    continue;
                }
                done.push(task);
                let same: Vec<usize> = own
                    .iter()
                    .copied()
                    .filter(|other| {
                        let other = self.task(*other);
                        (&other.deed, other.role) == (&task.deed, task.role)
                    })
                    .collect();
                spans.push((text.len(), same.clone()));
                text.push_str(&self.line(line, task, &same));
            }
        }
        for (code, bars) in &self.allowed {
            spans.push((text.len(), Vec::new()));
            let why = if code.starts_with("compass/") { TAKEN_UP } else { OWN };
            text.push_str(&format!("  allow {code} bars {bars} \"{why}\"\n"));
        }
        text.push_str("}\n");
        (text, spans)
    }

    fn task(&self, slot: usize) -> &Task {
        let slot = &self.slots[slot];
        &slot.tasks[slot.chosen]
    }

    fn line(&self, row: &Row, task: &Task, slots: &[usize]) -> String {
        let mut times: Vec<(Time, Time)> = Vec::new();
        for &slot in slots {
            let (from, to) = self.sections[self.slots[slot].section];
            match times.last_mut() {
                Some(last) if last.1 == from => last.1 = to,
                _ => times.push((from, to)),
            }
        }
        let whole = times == [(Time::ZERO, self.piece.form.end())];
        let bars = if whole { None } else { bars_words(&self.piece.form, &times) };
        let bars = bars.map_or(String::new(), |bars| format!(" bars {bars}"));
        let deed = format!("{}{bars}", task.deed);
        let role = if task.role.is_empty() { String::new() } else { format!("as {}", task.role) };
        let line = if role.is_empty() {
            format!("  {:<13} {deed}", row.name)
        } else {
            format!("  {:<13} {deed:<28}  {role}", row.name)
        };
        // Whoever waits plays afterwards.
        let reason = if whole && task.deed == "rests" { "has no part here" } else { task.reason };
        format!("{line}  // {reason}\n")
    }

    /// Gives a voice that nobody plays to somebody who can play it and has no voice yet.
    fn gives(&mut self, found: &Found) -> bool {
        let named = |name: &str| found.message.contains(&format!("`{name}`"));
        let Some(voice) = self.piece.voices.iter().position(|voice| named(&voice.name)) else {
            return false;
        };
        let form = &self.piece.form;
        let missing = |section: usize| {
            let (from, to) = self.sections[section];
            let numbers = form.bars_between(from, to).numbers(form);
            found.bars.is_none_or(|bars| numbers.is_some_and(|numbers| numbers.meets(bars)))
        };
        let (tune, bass, inner) = &self.voices;
        let role = match () {
            () if voice == *tune => "melody",
            () if Some(voice) == *bass => "bass",
            () => "harmony",
        };
        let mut found: Option<(u8, usize, Task)> = None;
        for (index, slot) in self.slots.iter().enumerate() {
            let task = &slot.tasks[slot.chosen];
            if !missing(slot.section)
                || task.deed.starts_with("plays")
                || self.given.contains(&(index, voice))
            {
                continue;
            }
            let player = &self.ensemble.players[self.rows[slot.row].players[0]];
            let Some(reach) = tasks::reach(player, self.ensemble.era) else { continue };
            if player.instrument.natural.is_some() || !player.instrument.drums.is_empty() {
                continue;
            }
            let (from, to) = self.sections[slot.section];
            let music = Music {
                piece: self.piece,
                tune: *tune,
                bass: *bass,
                inner: inner.clone(),
                from,
                to,
                growth: 0,
                forte: false,
            };
            let reason = "otherwise no player has this voice";
            let Some(task) = music.plays(voice, reach, &[0, 1, -1], role, reason) else { continue };
            let rank = match player.instrument.family {
                Family::Strings => 0,
                Family::Woodwind => 1,
                _ => 2,
            };
            if found.as_ref().is_none_or(|(best, ..)| rank < *best) {
                found = Some((rank, index, task));
            }
        }
        let Some((_, index, task)) = found else { return false };
        self.given.push((index, voice));
        let slot = &mut self.slots[index];
        slot.tasks.insert(slot.chosen, task);
        true
    }

    /// Allows a finding in some bars; not twice.
    fn allow(&mut self, code: &'static str, bars: BarNumbers) -> bool {
        let is_new = !self.allowed.contains(&(code, bars));
        if is_new {
            self.allowed.push((code, bars));
        }
        is_new
    }

    /// Takes out what was allowed and is found no more.
    fn allows_no_more(&mut self, found: &Found, spans: &[Span], base: usize) -> bool {
        let line = found
            .places
            .first()
            .and_then(|place| spans.iter().rposition(|(start, _)| *start <= place - base));
        let first = spans.len() - self.allowed.len();
        let Some(index) = line.and_then(|line| line.checked_sub(first)) else { return false };
        self.allowed.remove(index);
        true
    }

    /// Has a slot the tune or the bass?
    fn leads(&self, slot: usize) -> bool {
        matches!(self.task(slot).role, "melody" | "bass")
    }

    /// Does a slot belong to the core: a string that leads, or who alone has the tune or the bass?
    fn is_core(&self, slot: usize) -> bool {
        let player = &self.ensemble.players[self.rows[self.slots[slot].row].players[0]];
        self.leads(slot) && (player.instrument.bowed() || self.is_alone(slot))
    }

    /// Does a row rest from beginning to end?
    pub(super) fn rests_throughout(&self, row: usize) -> bool {
        let mut own = (0..self.slots.len()).filter(|slot| self.slots[*slot].row == row);
        own.all(|slot| self.task(slot).deed == "rests")
    }

    /// What a row could do, section by section from where the piece has grown most: slots, and indices
    /// of their tasks.
    pub(super) fn could_do(&self, row: usize) -> Vec<(usize, usize)> {
        let mut own: Vec<usize> =
            (0..self.slots.len()).filter(|slot| self.slots[*slot].row == row).collect();
        own.sort_by_key(|slot| std::cmp::Reverse(self.growth[self.slots[*slot].section]));
        let mut all = Vec::new();
        for slot in own.into_iter().take(TRIED_FOR_IDLE) {
            let tasks = self.slots[slot].tasks.iter().enumerate();
            let deeds = tasks.filter(|(_, task)| task.deed != "rests");
            all.extend(deeds.map(|(task, _)| (slot, task)));
        }
        all
    }

    /// Is it the only one of its section that has its voice?
    fn is_alone(&self, slot: usize) -> bool {
        let voice = |slot: usize| self.task(slot).deed.split(' ').nth(1);
        let (section, own) = (self.slots[slot].section, voice(slot));
        let others = (0..self.slots.len()).filter(|other| *other != slot);
        !others.into_iter().any(|other| {
            self.slots[other].section == section && self.leads(other) && voice(other) == own
        })
    }

    /// Lets a slot that a finding speaks of take its next task, or if need be any slot of its bars.
    pub(super) fn give_way(&mut self, found: &Found, spans: &[Span], base: usize) -> bool {
        if found.code.starts_with("coverage/") && self.gives(found) {
            return true;
        }
        if found.code == "allow/unused" {
            return self.allows_no_more(found, spans, base);
        }
        let form = &self.piece.form;
        let touches = |slot: &Slot| {
            found.bars.is_none_or(|bars| {
                let (from, to) = self.sections[slot.section];
                let section = form.bars_between(from, to).numbers(form);
                section.is_some_and(|section| section.meets(bars))
            })
        };
        let can = |slot: &usize| {
            let slot = &self.slots[*slot];
            slot.chosen + 1 < slot.tasks.len() && touches(slot)
        };
        // The core keeps what it has while others can give way.
        let core = |slot: &usize| self.is_core(*slot);
        // The lines that the finding shows …
        let shown = found.places.iter().filter_map(|place| {
            let at = place - base;
            spans.iter().rev().find(|(start, _)| *start <= at).map(|(_, slots)| slots)
        });
        let mut culprits: Vec<usize> = shown.flatten().copied().filter(|s| can(s)).collect();
        // … or the player whom it names …
        if culprits.is_empty()
            && let Some(player) = &found.player
        {
            let is_his = |slot: &usize| {
                let row = &self.rows[self.slots[*slot].row];
                row.players.iter().any(|p| self.ensemble.players[*p].id == *player)
            };
            culprits = (0..self.slots.len()).filter(|s| is_his(s) && can(s)).collect();
        }
        // … or whoever is heaviest in these bars.
        if culprits.is_empty() || culprits.iter().all(core) && found.code.starts_with("balance/") {
            let weight = |slot: &usize| {
                let row = &self.rows[self.slots[*slot].row];
                match self.ensemble.players[row.players[0]].instrument.loudness {
                    Loudness::HeavyBrass => 4,
                    Loudness::Percussion => 3,
                    Loudness::Horn => 2,
                    _ => 1,
                }
            };
            let heaviest = (0..self.slots.len()).filter(|s| can(s) && !core(s)).max_by_key(weight);
            culprits.extend(heaviest);
        }
        if !culprits.iter().all(core) {
            culprits.retain(|slot| !core(slot));
        } else if let Some(bars) = found.bars.filter(|_| found.code.starts_with("harmony/")) {
            // Tune and bass against one another are as they are written.
            return self.allow(found.code, bars);
        } else if let Some(bars) = found.bars {
            // The core may take another octave, but it does not fall silent.
            let leads_on = |slot: &usize| {
                let slot = &self.slots[*slot];
                matches!(slot.tasks[slot.chosen + 1].role, "melody" | "bass")
            };
            let goes = culprits.iter().copied().filter(leads_on).collect::<Vec<_>>();
            if goes.is_empty() {
                return self.allow(found.code, bars);
            }
            culprits = goes;
        }
        culprits.sort_unstable();
        culprits.dedup();
        for &slot in &culprits {
            self.slots[slot].chosen += 1;
        }
        !culprits.is_empty()
    }
}
