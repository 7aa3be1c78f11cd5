//! Work on several threads, of which no more is held than what is under way.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

/// Makes so many things on so many threads and hands over each as soon as it is made, with its
/// number: not in order, and no more than two for each thread are there at a time.
///
/// # Errors
///
/// What `take` answers ends the work.
pub fn streamed<T: Send, E>(
    count: usize,
    threads: usize,
    make: impl Fn(usize) -> T + Sync,
    mut take: impl FnMut(usize, T) -> Result<(), E>,
) -> Result<(), E> {
    let (next, make) = (&AtomicUsize::new(0), &make);
    let (give, got) = mpsc::sync_channel(1);
    thread::scope(|scope| {
        for _ in 0..threads.min(count) {
            let give = give.clone();
            scope.spawn(move || {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    // Nobody takes any more where taking failed.
                    if number >= count || give.send((number, make(number))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(give);
        got.into_iter().try_for_each(|(number, made)| take(number, made))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_is_handed_over_once() {
        for threads in [1, 3, 100] {
            let mut got = Vec::new();
            let done = streamed(
                40,
                threads,
                |number| number * number,
                |number, square| {
                    got.push((number, square));
                    Ok::<(), ()>(())
                },
            );
            got.sort_unstable();
            assert_eq!(done, Ok(()));
            assert_eq!(got, (0..40).map(|n| (n, n * n)).collect::<Vec<_>>());
        }
        assert_eq!(streamed(0, 2, |_| (), |_, ()| Err(())), Ok(()));
    }

    #[test]
    fn a_failure_ends_the_work() {
        let made = AtomicUsize::new(0);
        let make = |number| {
            made.fetch_add(1, Ordering::Relaxed);
            number
        };
        let take = |number, _| if number == 0 { Err("full") } else { Ok(()) };
        assert_eq!(streamed(1000, 2, make, take), Err("full"));
        assert!(made.into_inner() < 1000);
    }
}
