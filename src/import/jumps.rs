//! Signs that tell where to go on: which of those of a file lead somewhere, so that the form can say
//! them.

use super::loss::Losses;
use super::raw::RawScore;
use super::score::Score;
use crate::music::{Sign, Time};

/// The sign that printed words are.
pub(super) fn sign(words: &str) -> Option<Sign> {
    let small: String =
        words.to_lowercase().chars().filter(|c| c.is_alphanumeric() || *c == ' ').collect();
    let words: Vec<&str> = small.split_whitespace().collect();
    let text = words.join(" ").replace("d c", "dc").replace("d s", "ds");
    let text = text.replace("da capo", "dc").replace("dal segno", "ds");
    let to = |what: &str| text.contains(&format!("al {what}"));
    Some(match () {
        () if text.starts_with("dc") && to("coda") => Sign::DaCapoAlCoda,
        () if text.starts_with("dc") && to("fine") => Sign::DaCapoAlFine,
        () if text.starts_with("dc") => Sign::DaCapo,
        () if text.starts_with("ds") && to("coda") => Sign::DalSegnoAlCoda,
        () if text.starts_with("ds") && to("fine") => Sign::DalSegnoAlFine,
        () if text.starts_with("ds") => Sign::DalSegno,
        () if text.starts_with("to coda") || text.starts_with("al coda") => Sign::ToCoda,
        () if text == "fine" => Sign::Fine,
        () if text == "coda" => Sign::Coda,
        () if text == "segno" => Sign::Segno,
        () => return None,
    })
}

/// The signs of all parts by bar, without those that lead nowhere.
pub(super) fn of(raw: &RawScore, score: &Score, losses: &mut Losses) -> Vec<(usize, Sign)> {
    let mut found: Vec<(usize, Sign)> = Vec::new();
    for part in &raw.parts {
        for (index, measure) in part.measures.iter().enumerate() {
            for (at, sign) in &measure.signs.jumps {
                // What begins a bar may be set at the end of the bar before.
                let late = !sign.stands_at_end() && *at > Time::ZERO && *at >= measure.length;
                found.push((if late { index + 1 } else { index }, *sign));
            }
        }
    }
    found.sort_unstable();
    found.dedup();
    if found.is_empty() {
        return found;
    }
    // Where the words say da capo and the sound leads to a sign, the piece begins again there: a file
    // of several movements has one beginning only.
    let all = found.clone();
    for (index, sign) in &mut found {
        if all.contains(&(*index, Sign::DalSegno)) {
            *sign = match *sign {
                Sign::DaCapo => Sign::DalSegno,
                Sign::DaCapoAlFine => Sign::DalSegnoAlFine,
                Sign::DaCapoAlCoda => Sign::DalSegnoAlCoda,
                other => other,
            };
        }
    }
    found.sort_unstable();
    found.dedup();
    // The sound of a jump says less than the words beside it.
    let all = found.clone();
    found.retain(|(index, sign)| {
        let more = |words: &[Sign]| words.iter().any(|word| all.contains(&(*index, *word)));
        match sign {
            Sign::DaCapo => !more(&[Sign::DaCapoAlFine, Sign::DaCapoAlCoda]),
            Sign::DalSegno => !more(&[Sign::DalSegnoAlFine, Sign::DalSegnoAlCoda]),
            _ => true,
        }
    });
    // The sign of the coda stands where one leaves, too.
    let leaves = found.iter().any(|(_, sign)| *sign == Sign::ToCoda);
    let codas = found.iter().filter(|(_, sign)| *sign == Sign::Coda).count();
    if !leaves
        && codas == 2
        && let Some((_, first)) = found.iter_mut().find(|(_, sign)| *sign == Sign::Coda)
    {
        *first = Sign::ToCoda;
    }
    let all = found.clone();
    let mut kept = valid(found, score);
    kept.dedup();
    for (index, _) in all.iter().filter(|sign| !kept.contains(sign)) {
        losses.left_out("jumps that lead nowhere, or signs that none leads to", None, *index);
    }
    kept
}

/// The signs that lead somewhere and after which no bar is never played.
fn valid(found: Vec<(usize, Sign)>, score: &Score) -> Vec<(usize, Sign)> {
    let last = score.bars.len().saturating_sub(1);
    let within = |from: usize, to: usize, wanted: Sign| {
        found.iter().any(|(at, sign)| *sign == wanted && (from..to).contains(at))
    };
    let jumps = || found.iter().filter(|(_, sign)| sign.is_jump());
    let fits = |&&(index, sign): &&(usize, Sign)| {
        let segno = found.iter().rev().find(|(at, sign)| *sign == Sign::Segno && *at <= index);
        let target = if sign.is_dal_segno() { segno.map(|(at, _)| *at) } else { Some(0) };
        let Some(target) = target else { return false };
        if score.repeats.iter().any(|bars| bars.contains(index) && bars.after != index + 1) {
            return false;
        }
        if sign.is_al_coda() {
            return index < last
                && jumps().count() == 1
                && within(target, index, Sign::ToCoda)
                && found.contains(&(index + 1, Sign::Coda));
        }
        let ends = within(target, index, Sign::Fine);
        if sign.is_al_fine() { ends && index == last } else { !ends || index == last }
    };
    let led: Vec<(usize, Sign)> = jumps().filter(fits).copied().collect();
    let any = |is: &dyn Fn(Sign) -> bool| led.iter().any(|(_, sign)| is(*sign));
    let mut coda = any(&Sign::is_al_coda);
    let mut kept: Vec<(usize, Sign)> = Vec::new();
    for &(index, sign) in found.iter().filter(|(index, _)| *index <= last) {
        let keep = match sign {
            _ if sign.is_jump() => led.contains(&(index, sign)),
            // A jump leads to the last sign before it.
            Sign::Segno => led.iter().any(|(at, jump)| {
                let between = |(other, sign): &(usize, Sign)| {
                    *sign == Sign::Segno && index < *other && other <= at
                };
                jump.is_dal_segno() && index <= *at && !found.iter().any(between)
            }),
            Sign::Fine => any(&|sign| sign.is_jump() && !sign.is_al_coda()),
            Sign::ToCoda => std::mem::take(&mut coda),
            Sign::Coda => led.iter().any(|(at, sign)| sign.is_al_coda() && at + 1 == index),
            _ => false,
        };
        if keep {
            kept.push((index, sign));
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_jump_leads_to_the_last_sign_before_it() {
        use super::super::score::Bar;
        let bar = |index: usize| Bar {
            number: i32::try_from(index).unwrap_or(0) + 1,
            label: String::new(),
            start: Time::WHOLE * i64::try_from(index).unwrap_or(0),
            length: Time::WHOLE,
            metre: crate::music::Metre::FOUR_FOUR,
            metre_shown: index == 0,
            key: crate::music::Key::C_MAJOR,
            key_shown: index == 0,
            tempo: None,
            mark: None,
            double: false,
        };
        let score = Score { bars: (0..6).map(bar).collect(), ..Score::default() };
        let found =
            vec![(1, Sign::Segno), (3, Sign::Segno), (4, Sign::Fine), (5, Sign::DalSegnoAlFine)];
        assert_eq!(valid(found.clone(), &score), found[1..]);
        // A coda behind the last bar is none.
        let behind =
            vec![(0, Sign::Segno), (3, Sign::ToCoda), (5, Sign::DalSegnoAlCoda), (6, Sign::Coda)];
        assert_eq!(valid(behind, &score), []);
    }

    #[test]
    fn words_are_signs() {
        assert_eq!(sign("D.C. al Fine"), Some(Sign::DaCapoAlFine));
        assert_eq!(sign("D. C."), Some(Sign::DaCapo));
        assert_eq!(sign("Menuetto da capo"), None);
        assert_eq!(sign("Dal Segno al Coda"), Some(Sign::DalSegnoAlCoda));
        assert_eq!(sign("To Coda"), Some(Sign::ToCoda));
        assert_eq!(sign("Fine."), Some(Sign::Fine));
        assert_eq!(sign("Finely"), None);
    }
}
