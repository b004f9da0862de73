#!/bin/sh
# One share of a ranking of orders, as a task of an array job. See README.md beside this file.
#
#   sbatch --array=1-8 rank-array.sh CHAIN.yaml FOLDER [flags of drywire rank]
#
# CHAIN.yaml and FOLDER are on a file system that all machines see. A task that is killed and run again goes on from FOLDER/part-K.journal.
#SBATCH --job-name=drywire-rank
#SBATCH --cpus-per-task=2
#SBATCH --mem=4G
#SBATCH --time=12:00:00
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --output=rank-%A-%a.log
set -eu

chain=$1
folder=$2
shift 2
part=$SLURM_ARRAY_TASK_ID
parts=${PARTS:-$SLURM_ARRAY_TASK_COUNT}

mkdir -p "$folder"
export GOMAXPROCS="${SLURM_CPUS_PER_TASK:-1}"
exec "${DRYWIRE:-drywire}" rank "$chain" --part "$part/$parts" --journal "$folder/part-$part.journal" "$@"
