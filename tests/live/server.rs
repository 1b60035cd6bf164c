//! A sound server of the test's own, without a sound card: a null sink whose monitor is the input, and in front of it the
//! simulated jig. Nobody else's server, socket or settings are touched.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::thread::sleep;
use std::time::{Duration, Instant};

use tempfile::TempDir;

use crate::truth::Circuit;

/// Longest wait for the server's socket, s: it takes 0.2 s on an idle machine.
const START_LIMIT_S: u64 = 10;
/// Longest that a question to the server may take, s; a frozen server never answers.
const ANSWER_LIMIT_S: &str = "5";

/// The sink that programs play to: the simulated jig.
pub const OUTPUT: &str = "jigA";
/// The source that programs record from.
pub const INPUT: &str = "jigB.monitor";

/// What is simulated beside the driver. The default is a jig without any fault, with the noise of a decent converter.
#[derive(Clone, Copy, Debug)]
pub struct Faults {
    /// Gain of the right channel, against the left one's 1.
    pub gain: f64,
    /// Largest current of the source, A where full scale is 1 V; 0 for no limit.
    pub limit_a: f64,
    /// Load on the driver node, ohm; 0 for none.
    pub load_ohm: f64,
    /// From both inputs to the output, as a sound card's direct monitoring does it; 0 for none.
    pub feedback: f64,
    /// Noise of each channel, RMS relative to full scale.
    pub noise_rms: f64,
}

impl Default for Faults {
    fn default() -> Self {
        Self {
            gain: 1.0,
            limit_a: 0.0,
            load_ohm: 0.0,
            feedback: 0.0,
            // -100 dBFS.
            noise_rms: 1e-5,
        }
    }
}

/// How the server is set up.
#[derive(Clone, Copy, Debug)]
pub struct Setup {
    /// What stands between playback and capture.
    pub circuit: Circuit,
    /// What is wrong with it.
    pub faults: Faults,
    /// The sinks' sample rate, Hz.
    pub rate_hz: u32,
    /// Whether there is another sink that streams may be moved to.
    pub spare_sink: bool,
    /// Further sinks with the same jig and something else in the driver's place, by name; and a microphone of two channels, which is
    /// what a browser takes for an input.
    pub for_a_browser: &'static [(&'static str, Circuit)],
    /// The microphone has one channel, which hears both nodes added up: a clip that lies on one of them is the other one turned off.
    pub one_input: bool,
}

impl Setup {
    /// A jig without fault at 48 kHz.
    pub fn new(circuit: Circuit) -> Self {
        Self {
            circuit,
            faults: Faults::default(),
            rate_hz: 48_000,
            spare_sink: false,
            for_a_browser: &[],
            one_input: false,
        }
    }
}

/// A running server; dropping it ends it.
pub struct Server {
    folder: TempDir,
    child: Child,
}

/// Whether what these tests need is there. In continuous integration it has to be.
pub fn available() -> bool {
    for (tool, package) in [
        ("pulseaudio", "pulseaudio"),
        ("pactl", "pulseaudio-utils"),
        ("rustc", "rustc"),
    ] {
        let runs = Command::new(tool)
            .arg("--version")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|status| status.success());
        if !complain(runs, tool, package) {
            return false;
        }
    }
    let plugin = "alsa-lib/libasound_module_pcm_pulse.so";
    let there = ["/usr/lib", "/usr/lib64", "/usr/local/lib"]
        .iter()
        .flat_map(|folder| {
            let below = fs::read_dir(folder).into_iter().flatten().flatten();
            below.map(|entry| entry.path()).chain([folder.into()])
        })
        .any(|folder: PathBuf| folder.join(plugin).exists());
    complain(there, plugin, "libasound2-plugins")
}

/// Hands on whether something is there; says so if not, and fails where it has to be.
fn complain(there: bool, what: &str, package: &str) -> bool {
    if !there {
        assert!(
            std::env::var_os("CI").is_none_or(|ci| ci != "true"),
            "{what} is missing: install the package {package}"
        );
        println!("skipped: {what} is missing (package {package})");
    }
    there
}

/// The plug-in, built once.
fn plugin() -> &'static Path {
    static PLUGIN: OnceLock<PathBuf> = OnceLock::new();
    PLUGIN.get_or_init(|| {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/live/jig_plugin.rs");
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
        // Another test run may be loading it: it appears whole, under its name, or not at all.
        let [fresh, built] = ["jig_plugin_fresh.so", "jig_plugin.so"].map(|name| folder.join(name));
        let status = Command::new("rustc")
            .args(["--edition", "2021", "--crate-type", "cdylib", "-O", "-o"])
            .args([&fresh, &source])
            .status()
            .expect("rustc starts");
        assert!(status.success(), "the plug-in does not compile");
        fs::rename(&fresh, &built).expect("a file can be renamed");
        built
    })
}

impl Server {
    pub fn start(setup: &Setup) -> Self {
        let folder = tempfile::Builder::new()
            .prefix("farcone-live-")
            .tempdir()
            .expect("a temporary folder");
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("state")).expect("a folder can be made");
        fs::write(at("script.pa"), script(setup, &at("native"))).expect("a file can be written");
        fs::write(at("asound.conf"), ASOUND_CONF).expect("a file can be written");
        // Browsers ask the server for its usual rate.
        let usual = format!("default-sample-rate = {}\n", setup.rate_hz);
        fs::write(at("daemon.conf"), usual).expect("a file can be written");
        let log = fs::File::create(at("server.log")).expect("a file can be written");
        let mut command = Command::new("pulseaudio");
        surroundings(&mut command, folder.path());
        // `norewinds` and the two priorities: without them the first callbacks stalled for up to 2 s.
        command
            .env("PULSE_CONFIG", at("daemon.conf"))
            .args(["-n", "--daemonize=no", "--use-pid-file=no"])
            .args(["--exit-idle-time=-1", "--realtime=no", "--high-priority=no"])
            .args(["--log-target=stderr", "--log-level=notice", "-F"])
            .arg(at("script.pa"))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log);
        let child = command.spawn().expect("the sound server starts");
        let mut server = Self { folder, child };
        server.wait_until_ready();
        server
    }

    fn wait_until_ready(&mut self) {
        let begin = Instant::now();
        while !self.ask(&["get-default-sink"]).contains(OUTPUT) {
            let ended = self.child.try_wait().expect("the server can be asked");
            let late = begin.elapsed() > Duration::from_secs(START_LIMIT_S);
            assert!(
                ended.is_none() && !late,
                "the sound server does not come up: {}",
                self.log()
            );
            sleep(Duration::from_millis(50));
        }
    }

    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("server.log")).unwrap_or_default()
    }

    /// Makes a program find this server and no other, on both hosts.
    pub fn surround(&self, command: &mut Command) {
        surroundings(command, self.folder.path());
    }

    /// A question or an order to the server; empty if it does not answer.
    pub fn ask(&self, arguments: &[&str]) -> String {
        let mut command = Command::new("timeout");
        self.surround(&mut command);
        let output = command
            .args([ANSWER_LIMIT_S, "pactl"])
            .args(arguments)
            .output()
            .expect("pactl starts");
        String::from_utf8(output.stdout).expect("pactl speaks UTF-8")
    }

    /// An order that has to be carried out.
    pub fn order(&self, arguments: &[&str]) {
        let mut command = Command::new("timeout");
        self.surround(&mut command);
        let output = command
            .args([ANSWER_LIMIT_S, "pactl"])
            .args(arguments)
            .output()
            .expect("pactl starts");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "pactl {arguments:?}: {said}");
    }

    /// Indices of the streams that programs play, wherever to; those of the server's own modules are left out.
    pub fn playing(&self) -> Vec<String> {
        self.ask(&["list", "short", "sink-inputs"])
            .lines()
            .map(|line| line.split('\t').collect::<Vec<_>>())
            .filter(|fields| fields.get(3) == Some(&"protocol-native.c"))
            .map(|fields| fields[0].to_owned())
            .collect()
    }

    /// Takes a sink away, and with it what hangs on it.
    pub fn unload(&self, module: &str) {
        let modules = self.ask(&["list", "short", "modules"]);
        let index = modules
            .lines()
            .find(|line| line.contains(module))
            .and_then(|line| line.split('\t').next())
            .unwrap_or_else(|| panic!("no module {module} in {modules}"));
        self.order(&["unload-module", index]);
    }

    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Ends the server at once, as a crash does.
    pub fn kill(&mut self) {
        self.child.kill().expect("the server can be killed");
        self.child.wait().expect("the server can be waited for");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may be gone already, and a frozen one obeys nothing gentler.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn surroundings(command: &mut Command, folder: &Path) {
    let at = |name: &str| folder.join(name);
    command
        .env("PULSE_SERVER", format!("unix:{}", at("native").display()))
        .env("PULSE_RUNTIME_PATH", folder)
        .env("PULSE_STATE_PATH", at("state"))
        .env("PULSE_COOKIE", at("cookie"))
        .env("XDG_RUNTIME_DIR", folder)
        .env("XDG_CONFIG_HOME", at("config"))
        .env("HOME", folder)
        .env("ALSA_CONFIG_PATH", at("asound.conf"));
}

fn script(setup: &Setup, socket: &Path) -> String {
    let rate = setup.rate_hz;
    let map = "channels=2 channel_map=front-left,front-right";
    let null = |name: &str| {
        format!(
            "load-module module-null-sink sink_name={name} format=float32le rate={rate} {map} norewinds=1\n"
        )
    };
    let jig = |name: &str, circuit: &Circuit| {
        format!(
            "load-module module-ladspa-sink sink_name={name} sink_master=jigB plugin={} label=jig control={} {map}\n",
            plugin().display(),
            control(circuit, &setup.faults)
        )
    };
    let mut script = format!(
        "load-module module-native-protocol-unix auth-anonymous=1 socket={}\n{}",
        socket.display(),
        null("jigB")
    );
    if setup.spare_sink {
        script.push_str(&null("spare"));
    }
    script.push_str(&jig(OUTPUT, &setup.circuit));
    for (name, circuit) in setup.for_a_browser {
        script.push_str(&jig(name, circuit));
    }
    script.push_str(&format!(
        "load-module module-remap-source source_name=mono master={INPUT} master_channel_map=front-left channels=1 channel_map=mono\n"
    ));
    let mut input = INPUT;
    if !setup.for_a_browser.is_empty() {
        input = "mic";
        let channels = if setup.one_input {
            "master_channel_map=mono channels=1 channel_map=mono remix=yes".to_owned()
        } else {
            format!("{map} remix=no")
        };
        script.push_str(&format!(
            "load-module module-remap-source source_name={input} master={INPUT} {channels}\n"
        ));
    }
    script.push_str(&format!(
        "set-default-sink {OUTPUT}\nset-default-source {input}\n"
    ));
    script
}

/// The values of the plug-in's ports.
fn control(circuit: &Circuit, faults: &Faults) -> String {
    [
        circuit.re_ohm,
        circuit.res_ohm,
        circuit.f0_hz,
        circuit.qms,
        circuit.sense_ohm,
        circuit.le_h,
        faults.gain,
        faults.limit_a,
        faults.load_ohm,
        faults.feedback,
        faults.noise_rms,
    ]
    .map(|value| value.to_string())
    .join(",")
}

const ASOUND_CONF: &str = r#"</usr/share/alsa/alsa.conf>
pcm.jig_play { type pulse device "jigA" hint { show on description "Jig playback" } }
pcm.jig_rec { type pulse device "jigB.monitor" hint { show on description "Jig capture" } }
"#;
