#!/usr/bin/env bash
# The whole road through a cluster: installs Slurm, starts a controller and two virtual nodes on this machine (loopback
# only), submits a small job by `bicolumn cluster --submit`, kills one node with all that runs on it while it works, waits
# for array and merge, and compares results.csv with that of one run without a scheduler. About ten minutes, two
# of which Slurm waits before it runs a task again. Needs root on a Debian system and a built target/release/bicolumn.
# It ends what it started, by process number.
set -euo pipefail
cd "$(dirname "$0")/../.."
bicolumn="$(realpath "${CARGO_TARGET_DIR:-target}")/release/bicolumn"
job="$PWD/tests/slurm/job.toml"
root="$(realpath "${CARGO_TARGET_DIR:-target}")/slurm"

if [ "$(id -u)" != 0 ]; then
    echo "the cluster was NOT tested: it takes root to start Slurm" >&2
    exit 1
fi
if ! command -v slurmctld >/dev/null || ! command -v munged >/dev/null; then
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends slurm-wlm munge >/dev/null
fi

pids=()
stop() {
    for p in "${pids[@]}"; do kill -9 "$p" 2>/dev/null || true; done
}
trap stop EXIT
rm -rf "$root"
mkdir -p "$root"/{state,log,run,work,spool/n1,spool/n2}

# munge: its own folders, not writable by others.
install -d -o munge -g munge -m 0755 /run/munge
install -d -o munge -g munge -m 0711 /var/lib/munge
install -d -o munge -g munge -m 0700 /var/log/munge /etc/munge
if [ ! -s /etc/munge/munge.key ]; then
    dd if=/dev/urandom of=/etc/munge/munge.key bs=1 count=128 status=none
    chown munge:munge /etc/munge/munge.key
    chmod 0400 /etc/munge/munge.key
fi
if ! munge -n >/dev/null 2>&1; then
    runuser -u munge -- /usr/sbin/munged
    pids+=("$(cat /run/munge/munged.pid)")
fi

host=$(hostname -s)
memory=$(($(awk '/MemTotal/{print $2}' /proc/meminfo) / 2048))
cat >"$root/slurm.conf" <<CONF
ClusterName=sandbox
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
CryptoType=crypto/munge
CommunicationParameters=NoInAddrAny,NoCtldInAddrAny
SlurmctldPort=16817
SrunPortRange=17000-17100
StateSaveLocation=$root/state
SlurmdSpoolDir=$root/spool/%n
SlurmctldPidFile=$root/run/slurmctld.pid
SlurmdPidFile=$root/run/slurmd.%n.pid
SlurmctldLogFile=$root/log/slurmctld.log
SlurmdLogFile=$root/log/slurmd.%n.log
SlurmdParameters=config_overrides
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core_Memory
SchedulerType=sched/backfill
SchedulerParameters=sched_interval=5,bf_interval=5
MpiDefault=none
ReturnToService=2
SwitchType=switch/none
AccountingStorageType=accounting_storage/none
JobAcctGatherType=jobacct_gather/none
JobCompType=jobcomp/filetxt
JobCompLoc=$root/log/jobcomp.txt
MinJobAge=3600
InactiveLimit=0
KillWait=5
Waittime=0
SlurmctldTimeout=30
SlurmdTimeout=10
NodeName=n1 NodeHostname=$host NodeAddr=127.0.0.1 Port=16821 CPUs=1 RealMemory=$memory State=UNKNOWN
NodeName=n2 NodeHostname=$host NodeAddr=127.0.0.1 Port=16822 CPUs=1 RealMemory=$memory State=UNKNOWN
PartitionName=main Nodes=ALL Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF="$root/slurm.conf"
wait_for() { # what, seconds, command
    for _ in $(seq "$2"); do
        if eval "$3" >/dev/null 2>&1; then return 0; fi
        sleep 1
    done
    echo "waited $2 s in vain for $1" >&2
    return 1
}
/usr/sbin/slurmctld -f "$SLURM_CONF"
wait_for "the controller" 30 "[ -s $root/run/slurmctld.pid ]"
pids+=("$(cat "$root/run/slurmctld.pid")")
for n in n1 n2; do
    /usr/sbin/slurmd -f "$SLURM_CONF" -N "$n"
    wait_for "$n" 30 "[ -s $root/run/slurmd.$n.pid ]"
    pids+=("$(cat "$root/run/slurmd.$n.pid")")
done
wait_for "two idle nodes" 60 '[ "$(sinfo -h -N -o %T | grep -c idle)" = 2 ]'
echo "two nodes are idle"

cd "$root/work"
submitted=$("$bicolumn" cluster "$job" --for slurm --out "$root/cluster" --threads 1 --tasks 2 --submit)
echo "$submitted"
merge=$(echo "$submitted" | awk '/^merge/{print $2}')

# All processes below one, itself among them.
tree() {
    echo "$1"
    for child in $(ps -o pid= --ppid "$1"); do tree "$child"; done
}
wait_for "a record of the first points" 600 "ls $root/cluster/points/*/record.json"
wait_for "a task on n2" 60 'squeue -h -t RUNNING -w n2 -o %i | grep -q .'
"$bicolumn" status "$root/cluster"
# The task's supervisor is a child of slurmd or was let go by it: it is known by the node in its name or its log.
victims=$(tree "$(cat "$root/run/slurmd.n2.pid")")
task=$(squeue -h -t RUNNING -w n2 -o %A | head -1)
for p in $(pgrep -x slurmstepd); do
    if tr '\0' ' ' <"/proc/$p/cmdline" | grep -q "\[$task\."; then victims="$victims $(tree "$p")"; fi
done
echo "n2 is killed: $(echo "$victims" | wc -w) processes"
# shellcheck disable=SC2086
kill -9 $victims 2>/dev/null || true

ended() { ! squeue -h -j "$merge" -o %T 2>/dev/null | grep -q .; }
wait_for "array and merge" 900 ended
cat "$root/log/jobcomp.txt" | sed 's/ \(UserId\|GroupId\|Name\|Partition\|WorkDir\|Reservation\|Tres\|Account\|QOS\|WcKey\|Cluster\|SubmitTime\|EligibleTime\|DerivedExitCode\)=[^ ]*//g'
"$bicolumn" report "$root/cluster"
echo "the same job without a scheduler"
"$bicolumn" run "$job" --out "$root/alone" --quiet
# Seconds differ between any two runs, nothing else may.
python3 - "$root" <<'PYTHON'
import csv, os, sys
root = sys.argv[1]
rows = lambda of: [
    {k: v for k, v in row.items() if "seconds" not in k}
    for row in csv.DictReader(open(f"{root}/{of}/results.csv"))
]
one, many = rows("alone"), rows("cluster")
assert one and one == many, "the tables differ"
left = [f for d, _, names in os.walk(f"{root}/cluster") for f in names if f.startswith((".writing-", "at-work"))]
assert not left, left
print(f"{len(many)} rows, identical to those of one machine; no temporary file left")
PYTHON
