//! "Did you mean …": the nearest of the words that would have been right.

/// Nobody means a longer word; to compare two of them would cost their square.
const LONGEST: usize = 100;
/// Nobody looks through more words; to compare many wrong ones with all of them would cost their
/// product.
const MOST: usize = 500;

/// The known word nearest to a wrong one, if it is near enough to be meant.
#[must_use]
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    let length = word.chars().count();
    if length > LONGEST {
        return None;
    }
    known
        .into_iter()
        .take(MOST)
        .filter(|candidate| candidate.chars().take(length + 4).count().abs_diff(length) <= 3)
        .map(|candidate| (strsim::osa_distance(&word, &candidate.to_lowercase()), candidate))
        .filter(|(distance, candidate)| *distance <= (candidate.chars().count() / 3).min(3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// A help sentence: "Did you mean `plays`?", or else the list of what there is.
#[must_use]
pub fn did_you_mean(word: &str, known: &[&str], what: &str) -> String {
    if let Some(candidate) = nearest(word, known.iter().copied()) {
        return format!("Did you mean `{candidate}`?");
    }
    if known.is_empty() {
        return format!("There is no {what} here yet.");
    }
    let mut list: Vec<String> = known.iter().take(12).map(|word| format!("`{word}`")).collect();
    if known.len() > list.len() {
        list.push("…".to_string());
    }
    format!("Known: {}.", list.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        let verbs = ["plays", "doubles", "sustains"];
        assert_eq!(nearest("play", verbs), Some("plays"));
        assert_eq!(nearest("dubles", verbs), Some("doubles"));
        assert_eq!(nearest("whistles", verbs), None);
    }

    #[test]
    fn a_word_that_nobody_means_is_near_to_none() {
        let (word, other) = ("a".repeat(500_000), "a".repeat(500_001));
        assert_eq!(nearest(&word, [other.as_str(), "plays"]), None);
        assert_eq!(nearest("play", [other.as_str(), "plays"]), Some("plays"));
    }
}
