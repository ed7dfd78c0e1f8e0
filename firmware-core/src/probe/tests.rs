//! A probe against a motor of a few lines: nothing of the world that the bench's tests use, so that each judges the other.

extern crate std;

use std::borrow::ToOwned;
use std::string::ToString;

use super::*;
use crate::sample::testing::{any_sample, sample};
use crate::units::smaller;
use proptest::prelude::*;

/// A motor on a lever between two stops that do not give at all: harder than any stop of metal. The plainest one that
/// has a current, a speed and an end.
#[derive(Debug, Clone, Copy)]
struct Plant {
    ohm: f32,
    henry: f32,
    /// V s/count.
    back_emf: f32,
    /// Counts/s² for an ampere.
    pull: f32,
    /// Fastest that it met a stop, counts/s.
    met: f32,
    /// A.
    friction: f32,
    /// What a lever that stands takes more of it than one that runs, A.
    sticks: f32,
    /// A, positive toward higher counts.
    spring: f32,
    span: f32,
    supply: f32,
    current: f32,
    speed: f32,
    place: f32,
}

/// Through so much no current comes.
const OFF_HENRY: f32 = 1.0e9;

impl Plant {
    fn obey(&mut self, command: Command) {
        match command {
            Command::Duty(duty) => self.tick(duty.get()),
            Command::Release => self.coast(),
            Command::Current(_) | Command::Opening(_) => panic!("a probe commands volts: {command:?}"),
        }
    }

    fn tick(&mut self, duty: f32) {
        const STEP: f32 = 1.0e-5;
        /// Speed at which half of what sticks is gone, counts/s.
        const HALF_GONE: f32 = 50.0;
        for _ in 0..100 {
            let volts = duty * self.supply - self.back_emf * self.speed - self.ohm * self.current;
            self.current += volts / self.henry * STEP;
            let push = self.current + self.spring;
            let friction = if self.speed == 0.0 { push } else { libm::copysignf(self.friction, self.speed) };
            let most = self.friction + self.sticks * HALF_GONE / (HALF_GONE + libm::fabsf(self.speed));
            let size = if self.speed == 0.0 { smaller(libm::fabsf(friction), most) } else { most };
            let net = push - libm::copysignf(size, friction);
            let before = self.speed;
            self.speed += net * self.pull * STEP;
            if before * self.speed < 0.0 {
                self.speed = 0.0;
            }
            self.place += self.speed * STEP;
            if self.place < 0.0 || self.place > self.span {
                self.met = larger(libm::fabsf(self.speed), self.met);
                self.place = self.place.clamp(0.0, self.span);
                self.speed = 0.0;
            }
        }
    }

    /// With the bridge off.
    fn coast(&mut self) {
        let (henry, ohm) = (self.henry, self.ohm);
        (self.henry, self.ohm, self.current) = (OFF_HENRY, 0.0, 0.0);
        self.tick(0.0);
        (self.henry, self.ohm, self.current) = (henry, ohm, 0.0);
    }

    fn sample(&self, tick: u32) -> Sample {
        let mut sample = sample(tick, 1000 + self.place as i16);
        sample.motor_current = Ampere(self.current);
        sample.supply = Volt(self.supply);
        sample
    }
}

/// What a segment came to: why it ended, most current, ticks.
fn run(plant: &mut Plant, segment: ProbeSegment) -> (ProbeEnd, f32, u32) {
    let mut probe = Probe::new(segment);
    let mut most = 0.0;
    for tick in 0..100_000 {
        let command = match probe.tick(&plant.sample(tick)) {
            ProbeStep::Go(command) | ProbeStep::Ease(command) => command,
            ProbeStep::Done(end) => return (end, most, tick),
        };
        plant.obey(command);
        most = larger(libm::fabsf(plant.current), most);
        probe.see(FaultSet::NONE, 0.0);
    }
    panic!("a segment without an end: {plant:?} {segment:?}");
}

fn until() -> ProbeUntil {
    ProbeUntil { moved: None, reached: None, held_ticks: None, still_counts: 10, ticks: 20_000 }
}

fn plain() -> Plant {
    Plant {
        ohm: 1.6,
        henry: 0.001,
        back_emf: 1.0e-4,
        pull: 2.0e5,
        met: 0.0,
        friction: 0.2,
        sticks: 0.0,
        spring: 0.0,
        span: 10_000.0,
        supply: 12.0,
        current: 0.0,
        speed: 0.0,
        place: 5000.0,
    }
}

fn segment(volts: f32) -> ProbeSegment {
    ProbeSegment {
        volts: Volt(volts),
        volts_per_s: 2.0,
        cap: Ampere(1.0),
        counts_per_s: 3500.0,
        speed_by_way: 0.0,
        direction: None,
        second_cap: None,
        until: until(),
    }
}

#[test]
fn a_segment_ends_on_motion_on_a_reading_at_a_stop_and_on_time() {
    let to = |until| ProbeSegment { until, ..segment(-8.0) };
    assert_eq!(run(&mut plain(), to(ProbeUntil { moved: Some(50), ..until() })).0, ProbeEnd::Moved);
    assert_eq!(
        run(&mut plain(), to(ProbeUntil { reached: Some(Counts(3000)), ..until() })).0,
        ProbeEnd::Reached
    );
    assert_eq!(run(&mut plain(), to(ProbeUntil { held_ticks: Some(200), ..until() })).0, ProbeEnd::Held);
    let (end, most, ticks) = run(
        &mut plain(),
        ProbeSegment { volts: Volt(0.0), until: ProbeUntil { ticks: 700, ..until() }, ..segment(0.0) },
    );
    assert_eq!((end, most, ticks), (ProbeEnd::TimeSpent, 0.0, 699));
}

#[test]
fn a_second_push_is_held_at_its_own_cap() {
    let held = ProbeUntil { held_ticks: Some(300), ..until() };
    let (end, most, _) =
        run(&mut plain(), ProbeSegment { second_cap: Some(Ampere(2.0)), until: held, ..segment(8.0) });
    assert_eq!(end, ProbeEnd::Held);
    assert!((1.9..2.1).contains(&most), "{most} A");
}

/// A spring of twice the friction, on a lever that stands at its stop.
fn spring_home() -> Plant {
    Plant { spring: -0.4, place: 0.0, ..plain() }
}

#[test]
fn a_spring_takes_the_lever_home_no_faster_than_the_limit() {
    let held = ProbeUntil { held_ticks: Some(200), ..until() };
    let out = ProbeSegment { direction: Some(CountsDirection::OpeningRaises), until: held, ..segment(8.0) };
    for direction in [None, out.direction] {
        let mut plant = spring_home();
        let (end, most, _) = run(&mut plant, ProbeSegment { direction, ..out });
        assert_eq!((end, plant.place), (ProbeEnd::Held, 0.0));
        assert!(plant.met < 1.1 * out.counts_per_s, "{} counts/s", plant.met);
        assert!(most < 1.1, "{most} A");
    }
}

#[test]
fn the_limit_grows_with_the_way_where_that_is_asked_for() {
    let held = ProbeUntil { held_ticks: Some(200), ..until() };
    let slow = ProbeSegment { counts_per_s: 300.0, until: held, ..segment(8.0) };
    let (_, _, slow_ticks) =
        run(&mut spring_home(), ProbeSegment { until: ProbeUntil { ticks: 60_000, ..held }, ..slow });
    let mut plant = spring_home();
    let (end, _, ticks) = run(&mut plant, ProbeSegment { speed_by_way: 0.35, ..slow });
    assert_eq!(end, ProbeEnd::Held);
    assert!(2 * ticks < slow_ticks, "{ticks} of {slow_ticks} ticks");
    assert!(plant.met < 1.15 * 0.35 * plant.span, "{} counts/s", plant.met);
}

/// A lever that its spring leads so slowly, braked, that noise hides it, and faster and faster once it is let go.
fn creeps_when_braked() -> Plant {
    Plant { back_emf: 5.0e-4, pull: 1.0e6, sticks: 0.015, spring: -0.2155, place: 0.0, ..plain() }
}

#[test]
fn a_lever_that_creeps_while_it_is_braked_is_not_left_to_run() {
    let moved = ProbeUntil { moved: Some(1500), ..until() };
    let out = ProbeSegment {
        direction: Some(CountsDirection::OpeningRaises),
        counts_per_s: 800.0,
        until: moved,
        ..segment(8.0)
    };
    let mut plant = creeps_when_braked();
    assert_eq!(run(&mut plant, out).0, ProbeEnd::Moved);
    for _ in 0..1000 {
        plant.coast();
    }
    assert!(plant.met < 1.1 * out.counts_per_s, "{} counts/s", plant.met);
    assert!(libm::fabsf(plant.speed) < 10.0, "{plant:?}");
}

#[test]
fn a_lever_that_tears_loose_is_fast_within_ticks_and_noise_is_not() {
    let segment = ProbeSegment { counts_per_s: 280.0, ..segment(8.0) };
    let mut lever = ProbedLever::new(&segment);
    // Noise of a fifth of what counts as standing, as the host has it.
    for noise in [2, -2, 0, 1, -1].into_iter().cycle().take(1000) {
        lever.follow(Counts(8000 + noise), &segment);
        assert!(lever.size() < 0.5 * lever.limit(), "{} counts/s", lever.size());
    }
    for tick in 1..=20 {
        lever.follow(Counts(8000 + 2 * tick), &segment);
    }
    assert!(lever.size() > 3.0 * lever.limit(), "{} counts/s after 20 ticks at 2000", lever.size());
}

#[test]
fn a_winding_at_its_heat_limit_still_lowers_the_lever() {
    let mut plant = spring_home();
    let mut probe =
        Probe::new(ProbeSegment { direction: Some(CountsDirection::OpeningRaises), ..segment(8.0) });
    for tick in 0..100_000 {
        let command = match probe.tick(&plant.sample(tick)) {
            ProbeStep::Go(command) | ProbeStep::Ease(command) => command,
            ProbeStep::Done(end) => {
                assert_eq!((end, plant.place), (ProbeEnd::HeatLimit, 0.0));
                assert!(plant.met < 3500.0, "{} counts/s", plant.met);
                return;
            }
        };
        plant.obey(command);
        probe.see(FaultSet::NONE, if plant.place > 5000.0 { 1.0 } else { 0.0 });
    }
    panic!("not let go: {plant:?}");
}

#[test]
fn supply_sensor_and_heat_that_is_no_number_end_a_segment_at_once() {
    for (faults, heat, end) in [
        (FaultSet::only(Fault::SupplyRange), 0.0, ProbeEnd::SupplyRange),
        (FaultSet::only(Fault::PositionRange), 0.0, ProbeEnd::SensorFault),
        (FaultSet::only(Fault::PositionJump), 0.0, ProbeEnd::SensorFault),
        (FaultSet::only(Fault::CurrentRange), 0.0, ProbeEnd::SensorFault),
        (FaultSet::NONE, f32::NAN, ProbeEnd::HeatLimit),
    ] {
        let mut probe = Probe::new(segment(8.0));
        assert!(matches!(probe.tick(&sample(0, 8000)), ProbeStep::Go(_)));
        probe.see(faults, heat);
        assert_eq!(probe.tick(&sample(1, 8000)), ProbeStep::Done(end));
    }
}

#[test]
fn what_a_probe_may_not_ask_for_is_refused_by_name() {
    let actuator = ActuatorSettings::DEFAULT;
    let refused = |change: fn(&mut ProbeSegment)| {
        let mut segment = segment(8.0);
        change(&mut segment);
        segment.validate(&actuator).map_err(|error| error.field.to_string())
    };
    assert_eq!(refused(|_| {}), Ok(()));
    assert_eq!(refused(|s| s.volts.0 = f32::NAN), Err("probe.volts".to_owned()));
    assert_eq!(refused(|s| s.volts_per_s = 201.0), Err("probe.volts_per_s".to_owned()));
    assert_eq!(refused(|s| s.cap.0 = 4.1), Err("probe.cap".to_owned()));
    assert_eq!(refused(|s| s.second_cap = Some(Ampere(0.9))), Err("probe.second_cap".to_owned()));
    assert_eq!(refused(|s| s.counts_per_s = 0.0), Err("probe.counts_per_s".to_owned()));
    assert_eq!(refused(|s| s.until.ticks = 0), Err("probe.until.ticks".to_owned()));
    assert_eq!(refused(|s| s.speed_by_way = 1.1), Err("probe.speed_by_way".to_owned()));
}

prop_compose! {
    fn any_plant()(
        ohm in 0.5f32..8.0, lag in 0.0003f32..0.002, constant in 0.005f32..0.05, gear in 20.0f32..300.0,
        degrees in 20.0f32..110.0, span in 800.0f32..15_000.0, friction in 0.05f32..0.6, spring in -0.9f32..0.9,
        supply in prop_oneof![Just(12.0f32), Just(24.0)], inertia in 0.3f32..5.0,
    ) -> Plant {
        let counts_per_rad = span / degrees.to_radians();
        let back_emf = constant * gear / counts_per_rad;
        let stall = supply / ohm;
        // Inertia of a small motor behind the gear, kg m²: what A of the bench has, times 0.3 to 5.
        let pull = constant / (inertia * 2.0e-6 * gear) * counts_per_rad;
        Plant {
            ohm, henry: ohm * lag, back_emf, pull, met: 0.0, friction: friction * stall, sticks: 0.0, spring: spring * friction * stall,
            span, supply, current: 0.0, speed: 0.0, place: span / 2.0,
        }
    }
}

proptest! {
    #[test]
    fn the_current_stays_within_a_tenth_over_its_cap(
        mut plant in any_plant(), sign in prop_oneof![Just(-1.0f32), Just(1.0)], share in 0.05f32..1.5, rise in 0.3f32..6.0,
    ) {
        let cap = larger(share * plant.friction, 0.1);
        // A lever that its spring carries off shows no standing winding first: a host asks for the volts of its cap then.
        let break_away = plant.friction - sign * plant.spring;
        let volts = if break_away < larger(0.5 * cap, 0.1) { smaller(1.05 * cap * plant.ohm, plant.supply) } else { plant.supply };
        let most = ProbeSegment {
            volts: Volt(sign * volts),
            volts_per_s: rise,
            cap: Ampere(cap),
            counts_per_s: 0.35 * plant.span,
            speed_by_way: 0.0,
            direction: Some(CountsDirection::OpeningRaises),
            second_cap: None,
            until: ProbeUntil { held_ticks: Some(300), ..until() },
        };
        let (end, seen, _) = run(&mut plant, most);
        prop_assert!(matches!(end, ProbeEnd::Held | ProbeEnd::TimeSpent), "{end:?}");
        prop_assert!(seen <= 1.1 * cap, "{seen} A over {cap} A: {plant:?}");
    }

    #[test]
    fn any_readings_leave_a_duty_that_is_a_number_and_end_in_time(
        samples in prop::collection::vec(any_sample(), 1..400),
        volts in -24.0f32..24.0, ticks in 1u16..300, heat in prop_oneof![Just(0.0f32), Just(f32::NAN)],
    ) {
        let until = ProbeUntil { ticks, held_ticks: Some(5), moved: Some(900), reached: Some(Counts(77)), still_counts: 3 };
        let mut probe = Probe::new(ProbeSegment { until, second_cap: Some(Ampere(1.5)), ..segment(volts) });
        let mut elapsed = 0;
        for sample in samples {
            match probe.tick(&sample) {
                ProbeStep::Go(Command::Duty(duty)) => {
                    elapsed += 1;
                    prop_assert!(duty.get().is_finite());
                    probe.see(FaultSet::NONE, heat);
                }
                ProbeStep::Go(command) => prop_assert_eq!(command, Command::Release),
                ProbeStep::Ease(_) | ProbeStep::Done(_) => break,
            }
        }
        prop_assert!(elapsed <= usize::from(ticks));
    }
}
