//! The stable codes.

macro_rules! codes {
    ($($(#[doc = $doc:literal])+ $name:ident = $text:literal: $advice:literal,)+) => {
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

            /// The code of that name.
            pub fn parse(name: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|code| code.as_str() == name)
            }

            /// What to do, without knowing the take; a finding's own advice may say more.
            pub fn advice(self) -> &'static str {
                match self { $(Self::$name => $advice,)+ }
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
    WavLengthRecovered = "wav-length-recovered":
        "Check that the recording is complete; a recorder that writes to a pipe is fine.",
    /// One channel carries no signal.
    DeadChannel = "dead-channel":
        "Check that this input is plugged in, switched to line and turned up, and that two channels are recorded.",
    /// Both channels are the same samples.
    IdenticalChannels = "identical-channels":
        "Record two separate inputs (no mono mix, no microphone input); check that the driver is connected.",
    /// The recording is a digital copy of what was played, not a recording.
    PlaybackCopied = "playback-copied":
        "Choose the real input instead of the computer's own mix or monitor, and make the take again.",
    /// Each channel holds part of the other.
    ChannelsMixed = "channels-mixed":
        "Record two separate inputs: no mono mix, no stereo widening, no \"enhancements\".",
    /// An input shows a steady voltage.
    DcOffset = "dc-offset":
        "Use an input with AC coupling and switch the supply for microphones off.",
    /// The recording is so quiet that the steps of its samples count.
    TooQuiet = "too-quiet":
        "Turn the inputs up or play a little louder.",
    /// The noise is large against the signal.
    Noisy = "noisy":
        "Play a little louder, move away from power supplies and fans, shorten the leads.",
    /// Mains hum is in the recording.
    Hum = "hum":
        "Nothing has to be done; leads further from mains transformers hum less.",
    /// The recording went through a lossy codec.
    LossyCoding = "lossy-coding":
        "Send the WAV or FLAC file itself, as a document or in a ZIP, not as a voice message.",
    /// Something suppresses quiet sound: a gate, or noise suppression.
    Gated = "gated":
        "Turn off noise suppression, echo cancelling and gates, then make the take again.",
    /// Something turns the gain up and down by itself while recording.
    GainControl = "gain-control":
        "Turn off automatic gain, then make the take again.",
    /// The recording has no silence before the stimulus, or none after it.
    NoSilence = "no-silence":
        "Start recording before the stimulus plays, and stop a second after its end.",
    /// The sample rate in the header is not that of the recording.
    WrongRate = "wrong-rate":
        "Record again and save the file unconverted; do not change its sample rate by hand.",
    /// An input is loud although nothing plays yet.
    LoudBeforeSound = "loud-before-sound":
        "Turn direct monitoring off, close other programs that play, move leads away from mains transformers; check that \
         no microphone input or phantom power is on.",
    /// The source channel does not contain what was played.
    PlaybackAbsent = "playback-absent":
        "Check that the chosen output is the one that is wired to the jig, its volume is up, and no other program moved \
         it; then make the take again.",
    /// Frames were lost, repeated or blanked between playback and recording.
    FramesLost = "frames-lost":
        "Close other programs, use a larger buffer or another sound system, then make the take again.",
    /// The level changed by itself while the stimulus played.
    LevelMoved = "level-moved":
        "Leave all volume controls alone, turn off automatic gain, limiters and \"enhancements\", then make the take \
         again.",
    /// The driver channel lost its signal while the source channel went on.
    ContactLost = "contact-lost":
        "Check the clips at the driver and the sense resistor, and the cable and plug of input 2; then make the take \
         again.",
    /// Nothing in a recording of one input repeats with the period that was said.
    PeriodNotFound = "period-not-found":
        "Play the periodic signal that was made for one input, without a break, say its period, and send the recording unconverted.",
    /// One input heard one node only, or not both for long enough.
    ClipNotMoved = "clip-not-moved":
        "Leave the clip on the source node, then on the driver's side, each for nine periods at least.",
    /// The sound was interrupted while the clip of a single input should have rested.
    ClipDisturbed = "clip-disturbed":
        "Let go of the clip and the leads while the sound plays.",
    /// The clip of a single input was not brought back to the source node, which would have shown whether anything changed meanwhile.
    ClipNotReturned = "clip-not-returned":
        "Move the clip back to the source node at the end, and leave it there for nine periods.",
    /// The clocks of playback and recording moved against each other while one input heard both nodes.
    ClockUnsteady = "clock-unsteady":
        "Play and record with one device, and keep sound servers from converting the rate.",
    /// An input was driven beyond its range: samples stand at their limit.
    Clipped = "clipped":
        "Turn the input's gain down, or play at a lower level.",
    /// The input is fed back to the output: the recording has echoes of what was played.
    MonitoringOn = "monitoring-on":
        "Turn off direct monitoring, sidetone, loopback and \"listen to this device\".",
    /// The top of the band that was played did not arrive: something changes the sample rate on the way.
    Resampled = "resampled":
        "Set the sound server to the rate asked for, or ask for the device's own rate (`--rate`).",
    /// The driver distorts at this level.
    Distorted = "distorted":
        "Play at a lower level; check that nothing touches the cone.",
    /// The output cannot deliver this level into the jig.
    OutputLimited = "output-limited":
        "Use a larger sense resistor or a line output, or play at a lower level; turn off limiters.",
    /// The two channels are the wrong way round.
    ChannelsSwapped = "channels-swapped":
        "Nothing has to be done now; next time plug source and driver channel as drawn (or say --swap-channels).",
    /// One channel is upside down.
    ChannelInverted = "channel-inverted":
        "Nothing has to be done now; one input's plug or cable is reversed.",
    /// The jig is wired the other way than was said.
    WrongWiring = "wrong-wiring":
        "Check that the jig is as drawn and that the resistor's value is typed right, and make the takes again.",
    /// The take holds too little signal to compute an impedance from.
    NoSignal = "no-signal":
        "Play the stimulus a little louder, check the inputs' gain and the connections.",
    /// The driver's terminals look open: nothing is connected, or a lead is off.
    DriverOpen = "driver-open":
        "Check both clips at the driver's terminals.",
    /// The driver's terminals look shorted.
    DriverShorted = "driver-shorted":
        "Look for touching clips or leads, then make the take again.",
    /// A capacitor or a crossover is still in the path.
    SeriesCapacitor = "series-capacitor":
        "Clip directly to the driver's own terminals, behind capacitor and crossover.",
    /// The stimulus does not reach far enough below the resonance.
    StartsTooHigh = "starts-too-high":
        "Let the stimulus begin at a quarter of the resonance or lower.",
    /// The curve has no resonance: a plain resistor, a short, or the wrong part.
    NoResonance = "no-resonance":
        "Check that the driver is connected and nothing else is in its place; start the sweep well below the resonance.",
    /// An uncertainty was not stated, so the documented default was used.
    UncertaintyAssumed = "uncertainty-assumed":
        "Say how well the value is known, for example `5.2g+-0.05g`.",
    /// A value was not given, so the documented default was used.
    ValueAssumed = "value-assumed":
        "Give the value.",
    /// The channels were not calibrated against each other.
    ChannelsUncalibrated = "channels-uncalibrated":
        "Record a take with both inputs on one node.",
    /// The two inputs show the same voltage very differently.
    ChannelsUnequal = "channels-unequal":
        "Set both gain knobs alike and record with both inputs on one node again; a calibration takes the difference out \
         as long as nobody touches the knobs.",
    /// The two inputs cut off low frequencies differently.
    CornersDiffer = "corners-differ":
        "Record a take with both inputs on one node; it takes the difference out.",
    /// Part of one channel leaks into the other.
    Crosstalk = "crosstalk":
        "Keep the two leads apart; takes with open and shorted leads and a check resistor take it out.",
    /// Leads and contacts have a large resistance.
    LeadsLarge = "leads-large":
        "Clean the contacts, use shorter leads, or record a take with the leads shorted.",
    /// Something loads the jig while nothing is connected to it.
    InputLoads = "input-loads":
        "Use line or instrument inputs, with the supply for microphones off; the open-leads take corrects it.",
    /// The check resistor does not read what it should.
    CheckResistorDisagrees = "check-resistor-disagrees":
        "Check both resistors' values and the wiring that was chosen.",
    /// The check resistor is too close to the sense resistor to tell the wiring.
    CheckUninformative = "check-uninformative":
        "Use one of half the sense resistor or less, or of twice it or more.",
    /// The sense resistor is not what was typed.
    SenseWrong = "sense-wrong":
        "Read the resistor's marking again, or measure it, and type what it is.",
    /// The meter's DC resistance and the fitted one disagree.
    MeterDisagrees = "meter-disagrees":
        "Check the sense resistor's value and the wiring; short the meter's probes and take their reading off; measure the \
         driver cold.",
    /// An impedance table came without uncertainties, so they were taken from the residuals of the fit.
    TableWithoutUncertainty = "table-without-uncertainty":
        "Add columns of standard uncertainty if the instrument gives them.",
    /// The fit did not converge.
    NotConverged = "not-converged":
        "Look at the curve: a rattle, a loose contact or a moving lead leaves steps or spikes; record again.",
    /// The data cannot determine this parameter.
    NotIdentifiable = "not-identifiable":
        "Widen the band or record longer; for a mass, move the resonance further.",
    /// A fitted value ran to the end of its range.
    AtBound = "at-bound":
        "Let the stimulus reach lower and higher; a calibrated jig rules out the inputs.",
    /// The curve differs from the circuit by more than the noise explains.
    PoorResidual = "poor-residual":
        "Look for rattles and loose parts where the residual is large; calibrate the channels.",
    /// The curve has a narrow extra loop.
    ExtraLoop = "extra-loop":
        "Tighten the screws, hold the frame, and look for what rattles; then make the take again.",
    /// The curve has more than one resonance.
    SecondResonance = "second-resonance":
        "Take the driver out of any box and away from walls and the table.",
    /// The coil model is in doubt: no family fits within the noise, or several fit differently.
    CoilUnsure = "coil-unsure":
        "Use the parameters with their wider intervals; a take with both inputs on one node rules out the inputs as the \
         cause.",
    /// A fitted value lies outside what a driver can be.
    Implausible = "implausible":
        "Check the wiring, the sense resistor's value and that only the driver is connected.",
    /// The added mass moved the resonance too little to weigh the cone by.
    MassShiftSmall = "mass-shift-small":
        "Add more mass, so that fs drops by 20 to 30 %, or use a smaller box (fc 1.4 to 2 times fs).",
    /// The added mass moved the resonance further than serves.
    MassShiftLarge = "mass-shift-large":
        "Use less mass: fs should drop by 20 to 30 %.",
    /// The loaded take resonates where the free one does: the load was not there.
    MassForgotten = "mass-forgotten":
        "Stick the mass on (or close the box) and make the loaded take again.",
    /// Two ways to the moving mass disagree.
    MassFormulasDisagree = "mass-formulas-disagree":
        "Stick the mass on more firmly, clamp the driver exactly alike, and use a second mass.",
    /// The test box leaks.
    BoxLeaks = "box-leaks":
        "Varnish the inside, seal the gasket: a pushed cone must return slowly.",
    /// The test box is too large or too small for this driver.
    BoxSize = "box-size":
        "Use a box that raises the resonance by 1.4 to 2 times.",
    /// The free-air and the loaded takes cannot be of the same driver.
    DriversDiffer = "drivers-differ":
        "Check that all takes are of the same driver, and make the odd one again.",
    /// The coil's resistance changed during or between takes.
    CoilWarmed = "coil-warmed":
        "Let the driver rest, play quieter, and make the takes soon after each other.",
    /// The resonance moves from take to take in one direction.
    ResonanceDrifts = "resonance-drifts":
        "Let the driver run in and warm up, then make the takes again.",
    /// Neither an added mass nor a known volume: what needs one of them is absent.
    MethodAbsent = "method-absent":
        "Stick a known mass on the cone or close it off with a known volume, and add that take.",
    /// The cone's size was not given: what needs it is absent.
    ConeAbsent = "cone-absent":
        "Measure the cone from the middle of the surround to the middle of the surround.",
    /// Several takes of one condition differ by more than their noise.
    TakesDiffer = "takes-differ":
        "Clamp the driver alike each time, let it warm up, leave out the take that does not belong.",
    /// The resonance moves with the level.
    LevelShift = "level-shift":
        "Note: use the lowest level that is free of noise. Caution: measure quieter, and look for what touches the cone.",
    /// Input is outside the range in which the formula for air is valid.
    AirOutOfRange = "air-out-of-range":
        "Check the temperature, pressure and humidity that were typed.",
    /// The jig profile was made so long ago that the jig may have changed, or at a date that cannot be.
    JigOld = "jig-old":
        "Make the profile again, and check this computer's date.",
    /// The check resistor did not read what it should when the jig profile was made.
    JigCheckFailed = "jig-check-failed":
        "Check both resistors' values and the wiring, then make the profile again.",
    /// No check resistor was measured when the jig profile was made.
    JigUnchecked = "jig-unchecked":
        "Make the profile again with a resistor of known value, half the sense resistor or less, or twice it or more.",
}
