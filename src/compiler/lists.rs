//! Long lists: each may be most of what a piece takes in memory.

/// Puts one more behind the others. A full list grows by a quarter: one that doubles takes up to twice
/// the room, and three times as much while it is copied.
pub fn push_slowly<T>(list: &mut Vec<T>, one: T) {
    if list.len() == list.capacity() {
        list.reserve_exact(list.len() / 4 + 4);
    }
    list.push(one);
}

/// All of them in a list that is as long as they are, and did not grow to that.
pub fn exactly<T>(all: impl Iterator<Item = T> + Clone) -> Vec<T> {
    let mut list = Vec::with_capacity(all.clone().count());
    list.extend(all);
    list
}

/// Brings a list into the order of a key; what is alike stays as it stands. Most lists are in order, and to
/// sort one takes its room again even then.
pub fn put_in_order<T, K: Ord>(list: &mut [T], key: impl Fn(&T) -> K) {
    if !list.is_sorted_by_key(&key) {
        list.sort_by_key(key);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_is_at_most_a_quarter_longer_than_what_it_holds() {
        let mut list = Vec::new();
        for number in 0..1000 {
            push_slowly(&mut list, number);
            assert!(list.capacity() <= list.len() / 4 * 5 + 8, "{}", list.capacity());
        }
        assert_eq!(list, (0..1000).collect::<Vec<_>>());
        assert_eq!(exactly((0..1000).filter(|n| n % 2 == 0)).capacity(), 500);
    }

    #[test]
    fn what_is_alike_stays_as_it_stands() {
        let mut list = [(2, 'a'), (1, 'b'), (2, 'c'), (1, 'd')];
        put_in_order(&mut list, |(key, _)| *key);
        assert_eq!(list, [(1, 'b'), (1, 'd'), (2, 'a'), (2, 'c')]);
    }
}
