//! The stable codes.

macro_rules! codes {
    ($($(#[doc = $doc:literal])+ $name:ident = $text:literal,)+) => {
        /// The stable code of a finding. Codes are added, never renamed or reused.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum Code {
            $($(#[doc = $doc])+ $name,)+
        }

        impl Code {
            /// Every code, in the order of the pipeline.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The code as it stands in a sheet.
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$name => $text,)+ }
            }

            /// What it means, in one sentence.
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$name => concat!($($doc),+).trim_start(),)+ }
            }
        }
    };
}

codes! {
    /// The WAV header gave no usable length (a recorder that crashed or wrote to a pipe); the audio behind it was recovered.
    WavLengthRecovered = "wav-length-recovered",
    /// One channel carries no signal.
    DeadChannel = "dead-channel",
    /// Both channels are the same samples.
    IdenticalChannels = "identical-channels",
    /// The recording is a digital copy of what was played, not a recording.
    PlaybackCopied = "playback-copied",
    /// Each channel holds part of the other.
    ChannelsMixed = "channels-mixed",
    /// An input shows a steady voltage.
    DcOffset = "dc-offset",
    /// The recording is so quiet that the steps of its samples count.
    TooQuiet = "too-quiet",
    /// The noise is large against the signal.
    Noisy = "noisy",
    /// Mains hum is in the recording.
    Hum = "hum",
    /// The recording went through a lossy codec.
    LossyCoding = "lossy-coding",
    /// Something suppresses quiet sound: a gate, or noise suppression.
    Gated = "gated",
    /// Something turns the gain up and down by itself while recording.
    GainControl = "gain-control",
    /// The recording has no silence before the stimulus, or none after it.
    NoSilence = "no-silence",
    /// The sample rate in the header is not that of the recording.
    WrongRate = "wrong-rate",
    /// An input is loud although nothing plays yet.
    LoudBeforeSound = "loud-before-sound",
    /// The source channel does not contain what was played.
    PlaybackAbsent = "playback-absent",
    /// Frames were lost, repeated or blanked between playback and recording.
    FramesLost = "frames-lost",
    /// The level changed by itself while the stimulus played.
    LevelMoved = "level-moved",
    /// The driver channel lost its signal while the source channel went on.
    ContactLost = "contact-lost",
    /// An input was driven beyond its range: samples stand at their limit.
    Clipped = "clipped",
    /// The input is fed back to the output: the recording has echoes of what was played.
    MonitoringOn = "monitoring-on",
    /// The top of the band that was played did not arrive: something changes the sample rate on the way.
    Resampled = "resampled",
    /// The driver distorts at this level.
    Distorted = "distorted",
    /// The output cannot deliver this level into the jig.
    OutputLimited = "output-limited",
    /// The two channels are the wrong way round.
    ChannelsSwapped = "channels-swapped",
    /// One channel is upside down.
    ChannelInverted = "channel-inverted",
    /// The jig is wired the other way than was said.
    WrongWiring = "wrong-wiring",
    /// The take holds too little signal to compute an impedance from.
    NoSignal = "no-signal",
    /// The driver's terminals look open: nothing is connected, or a lead is off.
    DriverOpen = "driver-open",
    /// The driver's terminals look shorted.
    DriverShorted = "driver-shorted",
    /// A capacitor or a crossover is still in the path.
    SeriesCapacitor = "series-capacitor",
    /// The stimulus does not reach far enough below the resonance.
    StartsTooHigh = "starts-too-high",
    /// The curve has no resonance: a plain resistor, a short, or the wrong part.
    NoResonance = "no-resonance",
    /// An uncertainty was not stated, so the documented default was used.
    UncertaintyAssumed = "uncertainty-assumed",
    /// A value was not given, so the documented default was used.
    ValueAssumed = "value-assumed",
    /// The channels were not calibrated against each other.
    ChannelsUncalibrated = "channels-uncalibrated",
    /// The two inputs show the same voltage very differently.
    ChannelsUnequal = "channels-unequal",
    /// The two inputs cut off low frequencies differently.
    CornersDiffer = "corners-differ",
    /// Part of one channel leaks into the other.
    Crosstalk = "crosstalk",
    /// Leads and contacts have a large resistance.
    LeadsLarge = "leads-large",
    /// Something loads the jig while nothing is connected to it.
    InputLoads = "input-loads",
    /// The check resistor does not read what it should.
    CheckResistorDisagrees = "check-resistor-disagrees",
    /// The check resistor is too close to the sense resistor to tell the wiring.
    CheckUninformative = "check-uninformative",
    /// The sense resistor is not what was typed.
    SenseWrong = "sense-wrong",
    /// The meter's DC resistance and the fitted one disagree.
    MeterDisagrees = "meter-disagrees",
    /// An impedance table came without uncertainties, so they were taken from the residuals of the fit.
    TableWithoutUncertainty = "table-without-uncertainty",
    /// The fit did not converge.
    NotConverged = "not-converged",
    /// The data cannot determine this parameter.
    NotIdentifiable = "not-identifiable",
    /// A fitted value ran to the end of its range.
    AtBound = "at-bound",
    /// The curve differs from the circuit by more than the noise explains.
    PoorResidual = "poor-residual",
    /// The curve has a narrow extra loop.
    ExtraLoop = "extra-loop",
    /// The curve has more than one resonance.
    SecondResonance = "second-resonance",
    /// The coil model is in doubt: no family fits within the noise, or several fit differently.
    CoilUnsure = "coil-unsure",
    /// A fitted value lies outside what a driver can be.
    Implausible = "implausible",
    /// The added mass moved the resonance too little to weigh the cone by.
    MassShiftSmall = "mass-shift-small",
    /// The added mass moved the resonance further than serves.
    MassShiftLarge = "mass-shift-large",
    /// The loaded take resonates where the free one does: the load was not there.
    MassForgotten = "mass-forgotten",
    /// Two ways to the moving mass disagree.
    MassFormulasDisagree = "mass-formulas-disagree",
    /// The test box leaks.
    BoxLeaks = "box-leaks",
    /// The test box is too large or too small for this driver.
    BoxSize = "box-size",
    /// The free-air and the loaded takes cannot be of the same driver.
    DriversDiffer = "drivers-differ",
    /// The coil's resistance changed during or between takes.
    CoilWarmed = "coil-warmed",
    /// The resonance moves from take to take in one direction.
    ResonanceDrifts = "resonance-drifts",
    /// Neither an added mass nor a known volume: what needs one of them is absent.
    MethodAbsent = "method-absent",
    /// The cone's size was not given: what needs it is absent.
    ConeAbsent = "cone-absent",
    /// Several takes of one condition differ by more than their noise.
    TakesDiffer = "takes-differ",
    /// The resonance moves with the level.
    LevelShift = "level-shift",
    /// Input is outside the range in which the formula for air is valid.
    AirOutOfRange = "air-out-of-range",
    /// The jig profile was made so long ago that the jig may have changed, or at a date that cannot be.
    JigOld = "jig-old",
    /// The check resistor did not read what it should when the jig profile was made.
    JigCheckFailed = "jig-check-failed",
    /// No check resistor was measured when the jig profile was made.
    JigUnchecked = "jig-unchecked",
}
