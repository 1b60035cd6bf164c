//! A jig with a driver in it, as a LADSPA plug-in: what stands between a sound server's playback and its capture when no
//! sound card is there. The tests build it with plain `rustc --edition 2021 --crate-type cdylib -O`; it is not part of
//! the crate.
//!
//! Left in is the source's voltage, full scale being 1 V. Left out is the source node, right out the node between the
//! sense resistor and the driver. Without noise, feedback and current limit, left out equals left in bit for bit.
//!
//! The driver is Z = Re + s·Le + Res/(1 + jQms·(f/f0 − f0/f)), that is a resistor, a coil, and a parallel circuit of Res,
//! Lp = Res/(2πf0·Qms) and Cp = Qms/(2πf0·Res). Each reactance is replaced by its trapezoidal companion (a resistor
//! and a source that remembers the sample before), which is the bilinear transform of the whole circuit: at f the
//! plug-in has the impedance that the circuit has at (rate/π)·tan(πf/rate).
#![allow(
    unsafe_code,
    reason = "LADSPA is a C interface: the host hands over raw buffers and calls through function pointers"
)]
#![deny(unsafe_op_in_unsafe_fn)]

use std::ffi::{c_char, c_int, c_ulong, c_void, CStr};
use std::ptr;

/// Audio ports, then controls; the order of the controls is that of the server's `control=` list.
const PORTS: [(&CStr, c_int); N_PORTS] = [
    (c"Left in", AUDIO | INPUT),
    (c"Right in", AUDIO | INPUT),
    (c"Left out", AUDIO | OUTPUT),
    (c"Right out", AUDIO | OUTPUT),
    (c"Re (ohm)", CONTROL | INPUT),
    (c"Res (ohm); 0: no resonance", CONTROL | INPUT),
    (c"f0 (Hz)", CONTROL | INPUT),
    (c"Qms", CONTROL | INPUT),
    (c"Rs (ohm)", CONTROL | INPUT),
    (c"Le (H)", CONTROL | INPUT),
    (c"Gain of the right channel", CONTROL | INPUT),
    (
        c"Largest current of the source (A); 0: no limit",
        CONTROL | INPUT,
    ),
    (c"Load on the driver node (ohm); 0: none", CONTROL | INPUT),
    (c"Feedback from both inputs to the output", CONTROL | INPUT),
    (c"Noise of each channel (RMS)", CONTROL | INPUT),
];
const N_PORTS: usize = 15;
const N_AUDIO: usize = 4;
const N_CONTROLS: usize = N_PORTS - N_AUDIO;

const INPUT: c_int = 1;
const OUTPUT: c_int = 2;
const CONTROL: c_int = 4;
const AUDIO: c_int = 8;

/// Delay of the feedback, s: as short as a sound card's own mixer makes it.
const FEEDBACK_DELAY_S: f64 = 0.001;

struct Controls {
    re_ohm: f64,
    res_ohm: f64,
    f0_hz: f64,
    qms: f64,
    sense_ohm: f64,
    le_h: f64,
    gain: f64,
    limit_a: f64,
    load_ohm: f64,
    feedback: f64,
    noise_rms: f64,
}

/// What the circuit remembers from one sample to the next.
#[derive(Default)]
struct State {
    /// Source of the coil's companion, V.
    coil_v: f64,
    /// Source of the companion of Lp, A.
    lp_a: f64,
    /// Source of the companion of Cp, A.
    cp_a: f64,
}

struct Jig {
    rate_hz: f64,
    ports: [*mut f32; N_PORTS],
    state: State,
    /// Mean of both outputs, as long ago as the feedback is late.
    delayed: Vec<f64>,
    at: usize,
    random: [u64; 2],
}

impl Jig {
    fn new(rate_hz: f64) -> Self {
        let n_delayed = ((FEEDBACK_DELAY_S * rate_hz).round() as usize).max(1);
        Self {
            rate_hz,
            ports: [ptr::null_mut(); N_PORTS],
            state: State::default(),
            delayed: vec![0.0; n_delayed],
            at: 0,
            random: [0x9E37_79B9_7F4A_7C15, 0xD1B5_4A32_D192_ED03],
        }
    }

    /// The source node and the driver node after one sample of the source.
    fn step(&mut self, source_v: f32, controls: &Controls) -> [f32; 2] {
        let fed_back_v = controls.feedback * self.delayed[self.at];
        let (mut source_node_v, driver_node_v) =
            self.solve(f64::from(source_v) + fed_back_v, controls);
        let noise_v = [0, 1].map(|channel| controls.noise_rms * self.noise(channel));
        source_node_v += noise_v[0];
        let driver_node_v = controls.gain * driver_node_v + noise_v[1];
        self.delayed[self.at] = 0.5 * (source_node_v + driver_node_v);
        self.at = (self.at + 1) % self.delayed.len();
        [source_node_v as f32, driver_node_v as f32]
    }

    fn solve(&mut self, emf_v: f64, controls: &Controls) -> (f64, f64) {
        let State { coil_v, lp_a, cp_a } = self.state;
        let coil_ohm = 2.0 * controls.le_h * self.rate_hz;
        let resonates = controls.res_ohm > 0.0;
        let omega = 2.0 * std::f64::consts::PI * controls.f0_hz;
        let lp_s = omega * controls.qms / controls.res_ohm / (2.0 * self.rate_hz);
        let cp_s = 2.0 * self.rate_hz * controls.qms / (omega * controls.res_ohm);
        let tank_s = 1.0 / controls.res_ohm + lp_s + cp_s;
        let tank_ohm = if resonates { 1.0 / tank_s } else { 0.0 };

        // The driver as seen from its terminals in this sample: a resistor and a source in series.
        let driver_ohm = controls.re_ohm + coil_ohm + tank_ohm;
        let behind_v = coil_v - (lp_a + cp_a) * tank_ohm;
        let load_s = if controls.load_ohm > 0.0 {
            1.0 / controls.load_ohm
        } else {
            0.0
        };
        let drawn = |from_source_a: f64, source_s: f64| {
            (from_source_a + behind_v / driver_ohm) / (1.0 / driver_ohm + load_s + source_s)
        };
        let mut node_v = drawn(emf_v / controls.sense_ohm, 1.0 / controls.sense_ohm);
        let mut source_node_v = emf_v;
        let source_a = (emf_v - node_v) / controls.sense_ohm;
        if controls.limit_a > 0.0 && source_a.abs() > controls.limit_a {
            let limited_a = controls.limit_a.copysign(source_a);
            node_v = drawn(limited_a, 0.0);
            source_node_v = node_v + limited_a * controls.sense_ohm;
        }

        let through_a = (node_v - behind_v) / driver_ohm;
        self.state.coil_v = -2.0 * coil_ohm * through_a - coil_v;
        if resonates {
            let tank_v = (through_a - lp_a - cp_a) * tank_ohm;
            self.state.lp_a = 2.0 * lp_s * tank_v + lp_a;
            self.state.cp_a = -2.0 * cp_s * tank_v - cp_a;
        }
        (source_node_v, node_v)
    }

    /// White noise of variance 1, the same in every run: xorshift64, two draws for a triangle.
    fn noise(&mut self, channel: usize) -> f64 {
        let random = &mut self.random[channel];
        let mut draw = || {
            *random ^= *random << 13;
            *random ^= *random >> 7;
            *random ^= *random << 17;
            (*random >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        (draw() + draw()) * 6.0_f64.sqrt()
    }
}

#[repr(C)]
struct RangeHint {
    hint: c_int,
    lower: f32,
    upper: f32,
}

#[repr(C)]
pub struct Descriptor {
    unique_id: c_ulong,
    label: *const c_char,
    properties: c_int,
    name: *const c_char,
    maker: *const c_char,
    copyright: *const c_char,
    n_ports: c_ulong,
    port_descriptors: *const c_int,
    port_names: *const *const c_char,
    port_range_hints: *const RangeHint,
    implementation_data: *mut c_void,
    instantiate: unsafe extern "C" fn(*const Descriptor, c_ulong) -> *mut c_void,
    connect_port: unsafe extern "C" fn(*mut c_void, c_ulong, *mut f32),
    activate: Option<unsafe extern "C" fn(*mut c_void)>,
    run: unsafe extern "C" fn(*mut c_void, c_ulong),
    run_adding: Option<unsafe extern "C" fn(*mut c_void, c_ulong)>,
    set_run_adding_gain: Option<unsafe extern "C" fn(*mut c_void, f32)>,
    deactivate: Option<unsafe extern "C" fn(*mut c_void)>,
    cleanup: unsafe extern "C" fn(*mut c_void),
}

unsafe extern "C" fn instantiate(_: *const Descriptor, rate_hz: c_ulong) -> *mut c_void {
    Box::into_raw(Box::new(Jig::new(rate_hz as f64))).cast()
}

unsafe extern "C" fn connect_port(handle: *mut c_void, port: c_ulong, data: *mut f32) {
    // SAFETY: the host passes on what `instantiate` returned, and calls nothing else meanwhile.
    let jig = unsafe { &mut *handle.cast::<Jig>() };
    if let Some(slot) = jig.ports.get_mut(port as usize) {
        *slot = data;
    }
}

unsafe extern "C" fn run(handle: *mut c_void, n_frames: c_ulong) {
    // SAFETY: as in `connect_port`.
    let jig = unsafe { &mut *handle.cast::<Jig>() };
    let ports = jig.ports;
    // SAFETY: the host has connected every port; a control points to one float.
    let control: [f64; N_CONTROLS] =
        std::array::from_fn(|i| f64::from(unsafe { *ports[N_AUDIO + i] }));
    let [re_ohm, res_ohm, f0_hz, qms, sense_ohm, le_h, gain, limit_a, load_ohm, feedback, noise_rms] =
        control;
    let controls = Controls {
        re_ohm,
        res_ohm,
        f0_hz,
        qms,
        sense_ohm,
        le_h,
        gain,
        limit_a,
        load_ohm,
        feedback,
        noise_rms,
    };
    for i in 0..n_frames as usize {
        // SAFETY: every audio port holds `n_frames` samples. Pointers, not slices, since the host may let an output
        // lie over an input.
        let source_v = unsafe { *ports[0].add(i) };
        let [left, right] = jig.step(source_v, &controls);
        // SAFETY: as above.
        unsafe {
            *ports[2].add(i) = left;
            *ports[3].add(i) = right;
        }
    }
}

unsafe extern "C" fn cleanup(handle: *mut c_void) {
    // SAFETY: the host hands back what `instantiate` returned, once.
    drop(unsafe { Box::from_raw(handle.cast::<Jig>()) });
}

#[no_mangle]
pub extern "C" fn ladspa_descriptor(index: c_ulong) -> *const Descriptor {
    if index != 0 {
        return ptr::null();
    }
    // Leaked: the host keeps it as long as the library is loaded.
    let hints = PORTS.map(|_| RangeHint {
        hint: 0,
        lower: 0.0,
        upper: 0.0,
    });
    Box::leak(Box::new(Descriptor {
        unique_id: 1,
        label: c"jig".as_ptr(),
        properties: 0,
        name: c"Simulated jig with a driver".as_ptr(),
        maker: c"The tests".as_ptr(),
        copyright: c"MIT OR Apache-2.0".as_ptr(),
        n_ports: N_PORTS as c_ulong,
        port_descriptors: Box::leak(Box::new(PORTS.map(|port| port.1))).as_ptr(),
        port_names: Box::leak(Box::new(PORTS.map(|port| port.0.as_ptr()))).as_ptr(),
        port_range_hints: Box::leak(Box::new(hints)).as_ptr(),
        implementation_data: ptr::null_mut(),
        instantiate,
        connect_port,
        activate: None,
        run,
        run_adding: None,
        set_run_adding_gain: None,
        deactivate: None,
        cleanup,
    }))
}
