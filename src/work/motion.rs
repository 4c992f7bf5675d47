//! Whether the system asks programs for little motion.

use std::process::{Command, Stdio};

/// Asks the desktop; false where it has no such setting or does not answer.
/// Takes as long as the desktop's own program does: not for the window's
/// thread.
pub fn less_is_asked_for() -> bool {
    if std::env::var_os("LINEHUE_REDUCED_MOTION").is_some_and(|value| value != "0") {
        return true;
    }
    let says = |program: &str, arguments: &[&str], word: &str| {
        Command::new(program)
            .args(arguments)
            .stdin(Stdio::null())
            .stderr(Stdio::null())
            .output()
            .is_ok_and(|output| String::from_utf8_lossy(&output.stdout).contains(word))
    };
    if cfg!(target_os = "macos") {
        let key = ["read", "com.apple.universalaccess", "reduceMotion"];
        return says("defaults", &key, "1");
    }
    if cfg!(target_os = "windows") {
        let key = [
            "query",
            r"HKCU\Control Panel\Desktop\WindowMetrics",
            "/v",
            "MinAnimate",
        ];
        return says("reg", &key, "REG_SZ    0");
    }
    let gnome = ["get", "org.gnome.desktop.interface", "enable-animations"];
    says("gsettings", &gnome, "false") || still_plasma()
}

// Plasma writes how long animations last, as a factor; 0 is none.
fn still_plasma() -> bool {
    directories::BaseDirs::new()
        .and_then(|folders| std::fs::read_to_string(folders.config_dir().join("kdeglobals")).ok())
        .is_some_and(|text| no_animation(&text))
}

fn no_animation(settings: &str) -> bool {
    settings.lines().any(|line| {
        line.trim()
            .strip_prefix("AnimationDurationFactor=")
            .and_then(|factor| factor.trim().parse::<f64>().ok())
            == Some(0.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plasma_says_it_as_a_factor() {
        assert!(no_animation("[KDE]\nAnimationDurationFactor=0\n"));
        assert!(!no_animation("[KDE]\nAnimationDurationFactor=0.5\n"));
        assert!(!no_animation(""));
    }
}
