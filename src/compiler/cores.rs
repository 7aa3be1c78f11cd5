//! Work that is shared out among the cores of the machine.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Below so many notes a thread hardly pays. Our guess.
const WORTH_A_THREAD: usize = 1000;

/// Does each of some works, on all cores where there is much to do (`notes` that are looked at);
/// what they give is in their order.
///
/// # Panics
/// If one of the works does.
pub fn on_all_cores<W: Sync, T: Send>(
    works: &[W],
    notes: usize,
    work: impl Fn(&W) -> T + Sync,
) -> Vec<T> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from).min(works.len());
    if cores < 2 || notes < WORTH_A_THREAD {
        return works.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let some = || {
        let mut done = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(one) = works.get(index) else { return done };
            done.push((index, work(one)));
        }
    };
    let mut done = std::thread::scope(|scope| {
        let helpers: Vec<_> = (1..cores).map(|_| scope.spawn(some)).collect();
        let mut done = some();
        for helper in helpers {
            // What breaks in a thread breaks here, as it would without one.
            done.extend(helper.join().unwrap_or_else(|broken| resume_unwind(broken)));
        }
        done
    });
    done.sort_unstable_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, what)| what).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_shared_out_comes_back_in_order() {
        let works: Vec<usize> = (0..1000).collect();
        let doubled = on_all_cores(&works, WORTH_A_THREAD, |one| one * 2);
        assert!(doubled.iter().enumerate().all(|(index, twice)| *twice == index * 2));
        assert_eq!(on_all_cores(&[1, 2], 0, |one| one + 1), [2, 3]);
        assert!(on_all_cores(&[], 1_000_000, |one: &u8| *one).is_empty());
    }

    #[test]
    #[should_panic(expected = "the seventh")]
    fn what_breaks_in_a_thread_breaks_outside() {
        let works: Vec<usize> = (0..100).collect();
        on_all_cores(&works, WORTH_A_THREAD, |one| assert!(*one != 7, "the seventh"));
    }
}
