"""The simulator, for tests in Python."""
import os
import subprocess


def simulate(simulator, folder, seed, minutes, stratum="clean", rate="100"):
    """A simulated patient as our log and as text: (log, text), beside PREFIX.truth/."""
    stem = os.path.join(folder, f"patient{seed}")
    subprocess.run([simulator, "patient", "--seed", str(seed), "--stratum", stratum, "--seconds", str(60 * minutes),
                    "--rate", rate, "-o", stem, "--log", "--csv"], check=True)
    return stem + ".log.gz", stem + ".csv"
