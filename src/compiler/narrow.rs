//! Numbers brought into narrower types: the nearest number that the type holds, and never another
//! one that was cut out of the bits.

/// A number that is brought into a narrower type.
pub trait Narrow {
    /// The same number, or the nearest one of the narrower type.
    fn narrow<T: Narrower>(self) -> T;
}

/// A type of numbers into which wider ones are brought.
pub trait Narrower: Sized {
    /// The nearest number of this type.
    fn nearest(wide: i128) -> Self;
    /// The nearest number of this type, for whole numbers the next one towards zero; of those, 0
    /// for what is no number.
    fn nearest_to(float: f64) -> Self;
}

macro_rules! whole {
    ($($number:ty),*) => {$(
        impl Narrower for $number {
            #[inline]
            fn nearest(wide: i128) -> Self {
                Self::try_from(wide).unwrap_or(if wide < 0 { Self::MIN } else { Self::MAX })
            }

            #[inline]
            #[expect(
                clippy::cast_possible_truncation,
                reason = "a floating-point number that is too large becomes the nearest one"
            )]
            fn nearest_to(float: f64) -> Self {
                float as Self
            }
        }

        impl Narrow for $number {
            #[inline]
            fn narrow<T: Narrower>(self) -> T {
                T::nearest(self as i128)
            }
        }
    )*};
}

whole!(i8, u8, i16, u16, i32, u32, i64, u64, usize);

impl Narrower for f32 {
    #[inline]
    fn nearest(wide: i128) -> Self {
        wide as Self
    }

    #[inline]
    #[expect(
        clippy::cast_possible_truncation,
        reason = "fewer digits are what is asked for; too large a number becomes infinite"
    )]
    fn nearest_to(float: f64) -> Self {
        float as Self
    }
}

impl Narrow for i128 {
    #[inline]
    fn narrow<T: Narrower>(self) -> T {
        T::nearest(self)
    }
}

impl Narrow for f64 {
    #[inline]
    fn narrow<T: Narrower>(self) -> T {
        T::nearest_to(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_fit_becomes_the_nearest_and_does_not_wrap() {
        assert_eq!(65_536_usize.narrow::<u16>(), u16::MAX);
        assert_eq!((-129_i32).narrow::<i8>(), i8::MIN);
        assert_eq!((-1_i64).narrow::<usize>(), 0);
        assert_eq!(i128::MAX.narrow::<i64>(), i64::MAX);
        assert_eq!(u64::MAX.narrow::<u32>(), u32::MAX);
        assert_eq!((1e30_f64).narrow::<u8>(), u8::MAX);
        assert_eq!(f64::NAN.narrow::<i32>(), 0);
        assert_eq!(200_u32.narrow::<u8>(), 200);
        assert_eq!(0.1_f64.narrow::<f32>(), 0.1_f32);
    }
}
