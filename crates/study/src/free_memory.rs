//! Memory that new work may take: the least that machine, control group, address-space limit and scheduler leave.

use std::fs::read_to_string;
use std::path::Path;

/// Least of what the machine has free, what the process's control group, its address-space limit and a batch
/// scheduler leave it, bytes; `None` where none of them says.
pub(crate) fn free_memory_bytes() -> Option<f64> {
    [
        read_to_string("/proc/meminfo")
            .ok()
            .and_then(|t| available(&t)),
        control_group(Path::new("/sys/fs/cgroup")),
        address_space(),
        scheduler(&|name| std::env::var(name).ok()),
    ]
    .into_iter()
    .flatten()
    .reduce(f64::min)
}

/// Memory of a task of Slurm by its environment, bytes: for the node, or for each of its processors.
fn scheduler(environment: &dyn Fn(&str) -> Option<String>) -> Option<f64> {
    let number = |name: &str| environment(name)?.trim().parse::<f64>().ok();
    let mib = number("SLURM_MEM_PER_NODE").or_else(|| {
        let processors = number("SLURM_CPUS_PER_TASK").unwrap_or(1.0);
        Some(number("SLURM_MEM_PER_CPU")? * processors)
    })?;
    // 0 stands for all of the node.
    (mib > 0.0).then_some(1024.0 * 1024.0 * mib)
}

/// Resident memory of a process, bytes; `None` where there is none or the system does not say.
pub(crate) fn resident_bytes(pid: u32) -> Option<f64> {
    kib_after(
        &read_to_string(format!("/proc/{pid}/status")).ok()?,
        "VmRSS:",
    )
}

/// `MemAvailable` of `/proc/meminfo`.
fn available(meminfo: &str) -> Option<f64> {
    kib_after(meminfo, "MemAvailable:")
}

/// Value of a line `NAME   123 kB`, bytes.
fn kib_after(text: &str, name: &str) -> Option<f64> {
    let line = text.lines().find(|l| l.starts_with(name))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(1024.0 * kib)
}

/// Memory that the control group (version 2) of the process leaves, its parents' limits counted.
fn control_group(root: &Path) -> Option<f64> {
    let own = read_to_string("/proc/self/cgroup").ok()?;
    let path = own.lines().find_map(|l| l.strip_prefix("0::/"))?;
    let folders = root.join(path);
    let within = folders.ancestors().take_while(|f| f.starts_with(root));
    within.filter_map(left_in).reduce(f64::min)
}

/// Limit of one control group less what it uses; `None` without a limit.
fn left_in(folder: &Path) -> Option<f64> {
    let number =
        |name: &str| -> Option<f64> { read_to_string(folder.join(name)).ok()?.trim().parse().ok() };
    Some((number("memory.max")? - number("memory.current")?).max(0.0))
}

/// Address-space limit (`ulimit -v`) less what the process has mapped; `None` without a limit.
fn address_space() -> Option<f64> {
    let limits = read_to_string("/proc/self/limits").ok()?;
    let status = read_to_string("/proc/self/status").ok()?;
    Some((soft_limit(&limits)? - kib_after(&status, "VmSize:")?).max(0.0))
}

/// Soft limit of the address space, bytes.
fn soft_limit(limits: &str) -> Option<f64> {
    let line = limits
        .lines()
        .find_map(|l| l.strip_prefix("Max address space"))?;
    line.split_whitespace().next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_system_writes_is_read() {
        let meminfo = "MemTotal:       24000000 kB\nMemAvailable:    2000000 kB\n";
        assert_eq!(available(meminfo), Some(2_048_000_000.0));
        let limits = "Limit                     Soft Limit           Hard Limit           Units\n\
                      Max address space         300000000            unlimited            bytes\n";
        assert_eq!(soft_limit(limits), Some(3e8));
        let unlimited =
            "Max address space         unlimited            unlimited            bytes\n";
        assert_eq!(soft_limit(unlimited), None);
    }

    #[test]
    fn a_task_has_the_memory_of_its_node_or_of_its_processors() {
        let with = |pairs: &[(&str, &str)]| {
            scheduler(&|name| {
                let found = pairs.iter().find(|(n, _)| *n == name);
                found.map(|(_, value)| (*value).to_owned())
            })
        };
        let mib = 1024.0 * 1024.0;
        assert_eq!(with(&[("SLURM_MEM_PER_NODE", "2000")]), Some(2000.0 * mib));
        let of_processors = [("SLURM_MEM_PER_CPU", "500"), ("SLURM_CPUS_PER_TASK", "4")];
        assert_eq!(with(&of_processors), Some(2000.0 * mib));
        assert_eq!(with(&[("SLURM_MEM_PER_NODE", "0")]), None);
        assert_eq!(with(&[]), None);
    }

    #[test]
    fn a_control_group_leaves_its_limit_less_its_use() {
        let temp = tempfile::tempdir().unwrap();
        assert_eq!(left_in(temp.path()), None);
        std::fs::write(temp.path().join("memory.max"), "1000\n").unwrap();
        std::fs::write(temp.path().join("memory.current"), "400\n").unwrap();
        assert_eq!(left_in(temp.path()), Some(600.0));
        std::fs::write(temp.path().join("memory.max"), "max\n").unwrap();
        assert_eq!(left_in(temp.path()), None);
    }
}
