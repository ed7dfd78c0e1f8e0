//! The measurable values of a parts sheet, by name.

/// One measurable value of a sheet. The order is the order of reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Field {
    /// Vane height.
    VaneHeight,
    /// Vane chord, tip to tip.
    VaneChord,
    /// Vane thickness.
    VaneThickness,
    /// Radius of the pivot circle.
    PivotRadius,
    /// Pivot's place along the chord from the leading edge.
    PivotFraction,
    /// Vane angle from the tangent at the closed (minimum-flow) stop.
    ClosedAngle,
    /// Vane angle from the tangent at the open stop.
    OpenAngle,
    /// Smallest angle to which the minimum-flow stop can be set.
    LeastAngle,
    /// Mean throat width between the vanes at the closed stop, where it was gauged; it outranks the angle.
    ThroatClosed,
    /// Mean throat width at the open stop, where it was gauged; it outranks the angle.
    ThroatOpen,
    /// Air through volute and ring at the closed stop on a flow bench; it outranks angle and throat width.
    FlowClosed,
    /// Pressure drop of that flow.
    FlowDrop,
    /// Absolute air pressure before the ring during that flow.
    FlowRoomPressure,
    /// Air temperature before the ring during that flow.
    FlowRoomTemperature,
    /// Pitch of the stop screw's thread.
    StopScrewPitch,
    /// Distance of the stop screw's contact from the ring's axis.
    StopScrewRadius,
    /// Total end-wall clearance beside the vanes.
    EndGap,
    /// Discharge coefficient of the throats.
    Discharge,
    /// Discharge coefficient of the end-wall clearance.
    GapDischarge,
    /// Radius of the ring's pins.
    PinRadius,
    /// Compressor inducer diameter.
    CompressorInducer,
    /// Compressor exducer diameter.
    CompressorExducer,
    /// Compressor blade height at the exducer.
    CompressorTipHeight,
    /// Turbine inducer (inlet, larger) diameter.
    TurbineInducer,
    /// Turbine exducer (outlet, smaller) diameter.
    TurbineExducer,
    /// Turbine blade height at the inducer.
    TurbineTipHeight,
    /// Turbine hub diameter at the exducer.
    TurbineHub,
    /// Turbine blade thickness at the exducer's trailing edge.
    TurbineBladeThickness,
    /// Turbine blade angle from the axis at the exducer, at the mean (root mean square) radius.
    TurbineExitAngle,
    /// Throat area between the turbine blades at the exducer, where it was measured.
    TurbineThroat,
    /// Discharge coefficient of the turbine wheel's throat.
    TurbineDischarge,
    /// Inertia of the whole rotor, where it was measured.
    RotorInertia,
    /// Mass of the whole rotor.
    RotorMass,
    /// Radius of the pendulum's lines at the rotor (or platform).
    PendulumRadius,
    /// Radius of the lines at the top, where it differs.
    PendulumTopRadius,
    /// Length of the lines.
    PendulumLength,
    /// Time of one full swing with the rotor.
    PendulumPeriod,
    /// Amplitude of the swing, to one side.
    PendulumAmplitude,
    /// Mass of the platform that carries the rotor, where there is one.
    PlatformMass,
    /// Time of one full swing of the empty platform.
    PlatformPeriod,
    /// Highest speed of the rotor that a named source allows.
    SpeedLimit,
    /// A/R of the turbine volute, as cast or stamped on the housing (often in inches).
    AreaOverRadius,
    /// Radius of the volute throat's centroid (the R of A/R).
    VoluteRadius,
    /// Throat area of the turbine volute (the A of A/R), where it was measured.
    VoluteArea,
    /// Actuator lever length.
    LeverLength,
    /// Actuator lever travel between the stops.
    LeverTravel,
    /// Actuator lever angle at the closed stop, from the line of the pivots.
    LeverClosedAngle,
    /// Rod length, eye to eye.
    RodLength,
    /// Ring lever length.
    RingLever,
    /// Distance between actuator shaft and ring lever pivot.
    PivotDistance,
    /// Over-travel of the free actuator beyond the ring's closed stop.
    ClosedReserve,
    /// Over-travel of the free actuator beyond the ring's open stop.
    OpenReserve,
    /// Angle between neighbouring seats of the lever on its shaft.
    LeverPitch,
    /// Angle between neighbouring seats of the nozzle ring in its housing.
    RingPitch,
}
