#!/usr/bin/env bash
# Proves that an array job on a cluster makes the same files as a single run.
#
#   run.sh BINARY
#
# Starts a Slurm of its own on this machine, of four nodes, in a temporary folder with its own key
# and ports; runs array.sbatch and then join.sbatch; compares. Then once more with a node that fails
# in the middle of its shard, which Slurm gives to another node. Leaves nothing behind.
# Exit code: 0 identical, 1 not, 2 wrong usage or something missing.
# Needs root and the Debian packages slurm-wlm and munge.
set -euo pipefail

say() { echo "slurm: $*"; }
fail() { echo "slurm: $2" >&2; exit "$1"; }

[ $# = 1 ] || fail 2 "want one argument, the binary: run.sh BINARY"
if ! [ -f "$1" ] || ! [ -x "$1" ]; then fail 2 "$1 is no program"; fi
[ "$(id -u)" = 0 ] || fail 2 "only root can start the daemons"
for tool in munged slurmctld slurmd sbatch squeue scontrol diff; do
	command -v $tool >/dev/null || fail 2 "$tool is missing: install the Debian packages slurm-wlm and munge"
done
binary=$(realpath "$1")
here=$(realpath "$(dirname "$0")")
unset "${!SLURM_@}" # of a job that runs this script
nodes=4
limit=60 # seconds that a job may take; Slurm waits 6 before it gives a lost shard to another node

dir=$(mktemp -d /tmp/phasebench-slurm.XXXXXX)
daemons=()
clean() {
	code=$?
	trap - EXIT
	if [ -f "$dir/up" ]; then # no job may outlive its node
		timeout 5 scancel --quiet --user=root 2>/dev/null || true
		for ((i = 0; i < 50; i++)); do
			[ -n "$(timeout 5 squeue --noheader 2>/dev/null)" ] || break
			sleep 0.1
		done
	fi
	if [ $code != 0 ]; then
		tail -n 15 "$dir"/log/{single,job-*,join-*,slurmctld} >&2 2>/dev/null || true
	fi
	for pid in "${daemons[@]}"; do kill "$pid" 2>/dev/null || true; done
	wait
	rm -rf "$dir"
	exit $code
}
trap clean EXIT
trap 'exit 130' INT TERM

# A number of ports that nobody listens on, below those given to outgoing connections.
free_ports() {
	local base port
	for ((base = 17000 + RANDOM % 10000; base < 31000; base += nodes + 1)); do
		for ((port = base; port <= base + nodes; port++)); do
			if (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null; then continue 2; fi
		done
		echo "$base"
		return
	done
	fail 2 "no free ports"
}

# until_ SECONDS WHAT COMMAND...: waits until the command succeeds.
until_() {
	local end=$((SECONDS + $1)) what=$2
	shift 2
	until "$@"; do
		[ $SECONDS -lt $end ] || fail 1 "$what: gave up waiting"
		sleep 0.1
	done
}

start_cluster() {
	local port i
	port=$(free_ports)
	mkdir -m 0755 "$dir"/{log,state,out}
	(umask 077 && head -c 1024 /dev/urandom >"$dir/key")
	chmod 0755 "$dir"
	cat >"$dir/slurm.conf" <<CONF
ClusterName=bench
SlurmctldHost=$(hostname -s)(127.0.0.1)
SlurmctldPort=$port
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$dir/munge.socket,cred_expire=5
StateSaveLocation=$dir/state
SlurmdSpoolDir=$dir/spool.%n
SlurmctldPidFile=$dir/slurmctld.pid
SlurmdPidFile=$dir/%n.pid
SlurmctldLogFile=$dir/log/slurmctld
SlurmdLogFile=$dir/log/%n
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SlurmdParameters=config_overrides
SchedulerParameters=batch_sched_delay=0,sched_interval=1,bf_interval=1
KillWait=1
MailProg=/bin/true
ReturnToService=0
NodeName=n[1-$nodes] NodeHostname=$(hostname -s) NodeAddr=127.0.0.1 Port=[$((port + 1))-$((port + nodes))] CPUs=1
PartitionName=main Nodes=ALL Default=YES State=UP MaxTime=10
CONF
	export SLURM_CONF=$dir/slurm.conf

	munged --foreground --socket="$dir/munge.socket" --key-file="$dir/key" --pid-file="$dir/munged.pid" \
		--seed-file="$dir/seed" --log-file="$dir/log/munged" 2>/dev/null &
	daemons+=($!)
	until_ 10 "munged" test -S "$dir/munge.socket"
	slurmctld -D -f "$SLURM_CONF" 2>/dev/null &
	daemons+=($!)
	for ((i = 1; i <= nodes; i++)); do
		slurmd -D -f "$SLURM_CONF" -N "n$i" 2>/dev/null &
		daemons+=($!)
	done
	until_ 20 "the nodes" idle $nodes
	touch "$dir/up"
	say "$(sinfo --version), $nodes nodes"
}

# idle N tells whether N nodes wait for work.
idle() { [ "$(sinfo --noheader --Node --states=idle --format=%N 2>/dev/null | wc -l)" = "$1" ]; }

ended() { ! squeue --noheader --jobs="$1" 2>/dev/null | grep -q .; }

# state JOB prints the states of a job's tasks, each once.
state() { scontrol show job "$1" | grep -o 'JobState=[A-Z_]*' | sort -u | cut -d= -f2 | paste -sd' '; }

# submit makes the data set in OUT with the program PHASEBENCH; sets the ids array and join.
submit() {
	local log=$dir/log/job-%A_%a
	export PHASEBENCH=$1 OUT=$2
	array=$(sbatch --parsable --output="$log" "$here/array.sbatch")
	join=$(sbatch --parsable --output="$dir/log/join-%j" --dependency="afterok:$array" --kill-on-invalid-dep=yes "$here/join.sbatch")
}

# finish waits for the jobs of submit.
finish() {
	until_ $limit "array job $array" ended "$array"
	[ "$(state "$array")" = COMPLETED ] || fail 1 "array job $array: $(state "$array")"
	until_ $limit "join job $join" ended "$join"
	[ "$(state "$join")" = COMPLETED ] || fail 1 "join job $join: $(state "$join")"
}

# same A B WHAT compares two folders: the same names, the same bytes.
same() {
	local files
	diff --recursive --brief "$1" "$2" >&2 || fail 1 "$3: differs from a single run"
	files=$(find "$1" -type f | wc -l)
	[ "$files" -gt 0 ] || fail 1 "$3: no files at all"
	say "$3: $files files, $(find "$1" -type f -exec cat {} + | wc -c) bytes, identical to a single run"
}

start_cluster

single=$dir/out/single
# The command of array.sbatch, all of it in one process.
PHASEBENCH=$binary OUT=$single bash "$here/array.sbatch" >"$dir/log/single" 2>&1 || fail 1 "the single run failed"

submit "$binary" "$dir/out/array"
finish
same "$single" "$dir/out/array" "array of $nodes shards and join"

# The shard of the first node begins alone, stops once its first file is there and hangs until the
# node is set down. Slurm then kills it and gives it to another node.
cat >"$dir/hang" <<HANG
#!/usr/bin/env bash
if [ "\${SLURMD_NODENAME:-}" != n1 ]; then
	until [ -f "$dir/hangs" ]; do sleep 0.02; done
	exec "$binary" "\$@"
fi
"$binary" "\$@" &
where="at its end"
while kill -0 \$! 2>/dev/null; do
	if [ -n "\$(find "\$OUT" -type f 2>/dev/null)" ]; then
		kill -STOP \$!
		where="at its first file"
		break
	fi
done
echo "\$where" >"$dir/hangs.new"
mv "$dir/hangs.new" "$dir/hangs"
sleep $limit
HANG
chmod +x "$dir/hang"
submit "$dir/hang" "$dir/out/requeue"
until_ $limit "a shard on node n1" test -f "$dir/hangs"
scontrol update nodename=n1 state=down reason="a test of this script"
finish
grep -q "[Rr]equeu" "$dir/log/slurmctld" || fail 1 "node n1 went down, but no shard was given to another node"
same "$single" "$dir/out/requeue" "a node lost, its shard stopped $(cat "$dir/hangs") and begun again elsewhere"
