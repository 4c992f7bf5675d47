//! Numbers that look random and depend on nothing but their place.
//!
//! A counter goes through a mixing function, so any pixel's number can be had
//! without its neighbours' and in any order. The mixing is the SplitMix64
//! finaliser (Steele, Lea and Flood, "Fast splittable pseudorandom number
//! generators", OOPSLA 2014), normal deviates are Box and Muller's (Annals of
//! Mathematical Statistics 29, 1958).

/// The increment of SplitMix64: 2^64 over the golden ratio, made odd.
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// Mixes 64 bits so that any changed input bit changes half of the output's.
pub fn mix(value: u64) -> u64 {
    let a = (value ^ (value >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let b = (a ^ (a >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    b ^ (b >> 31)
}

/// A stream of numbers: one for each counter value.
#[derive(Clone, Copy, Debug)]
pub struct Stream(u64);

impl Stream {
    /// The stream `name` of a seed; different names give unrelated streams.
    pub fn new(seed: u64, name: u64) -> Self {
        Self(mix(
            seed.wrapping_add(GOLDEN) ^ mix(name.wrapping_mul(GOLDEN))
        ))
    }

    /// 64 random bits for this counter.
    pub fn bits(self, counter: u64) -> u64 {
        mix(self
            .0
            .wrapping_add(counter.wrapping_add(1).wrapping_mul(GOLDEN)))
    }

    /// A number in 0..1 (1 excluded) for this counter.
    pub fn uniform(self, counter: u64) -> f64 {
        (self.bits(counter) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A normal deviate, mean 0 and variance 1, for this counter.
    pub fn normal(self, counter: u64) -> f32 {
        let bits = self.bits(counter);
        let radius_at = ((bits >> 32) as f32 + 0.5) * (1.0 / 4_294_967_296.0);
        let angle_at = ((bits & 0xffff_ffff) as f32) * (1.0 / 4_294_967_296.0);
        let radius = libm::sqrtf(-2.0 * libm::logf(radius_at));
        radius * libm::cosf(core::f32::consts::TAU * angle_at)
    }
}
