"""A recording for each pattern: what the simulator is told (fixtures/sim/README.md). Patients are irregular, as people are; most have
been passive before, so that their lungs are known. Numbers are an ordinary adult's; common practice, no source."""

CLEAN = "noise_p=0.05 noise_q=0.003"
OBSTRUCTED = "c_ml_cmh2o=70 re_cmh2o_s_l=25 ri_cmh2o_s_l=14"
BREATHES = "drive_per_min=14 drive_cv=0.08 pmus_cv=0.15"
SUPPORT = "mode=ps dp_cmh2o=10"


def head(seconds, seed=7, rate=100):
    return f"seed {seed}\nrate {rate}\nseconds {seconds}\n0 set {CLEAN}\n"


def passive_first(before, after, seconds, turn=180):
    """Passive in volume control, then another life."""
    return head(seconds) + f"0 set mode=vc rate_per_min=14 vt_ml=450 {before}\n{turn} set {after}\n"


def ineffective(seconds=900):
    acts = "".join(f"{120 + 10 * k + 1.6 + 0.25 * (k % 5):.2f} effort peak={3 + k % 4} seconds=0.6\n" for k in range((seconds - 130) // 10))
    return head(seconds) + f"0 set mode=vc rate_per_min=12 vt_ml=500 trigger=none {OBSTRUCTED}\n" + acts


SCRIPTS = {
    "ineffective_effort": ineffective(),
    "double_trigger": passive_first("tif_s=0.6 vt_ml=350", f"rate_per_min=6 refractory_s=0.1 {BREATHES} pmus_cmh2o=12 effort_rise_s=1.3", 900),
    "auto_trigger": passive_first("trigger=none heart_l_s=0.06", "mode=ps dp_cmh2o=10 ti_max_s=1.5 trigger=flow trig_flow_l_s=0.012", 900),
    "reverse_trigger": passive_first("trigger=none", "entrain_ratio=1 entrain_delay_s=0.6 entrain_sd_s=0.05 pmus_cmh2o=7 effort_rise_s=0.6", 900),
    "early_cycling": passive_first("", f"{SUPPORT} {BREATHES} pmus_cmh2o=8 effort_rise_s=1.1 end_flow=0.7 refractory_s=0.9", 900),
    "late_cycling": passive_first("ri_cmh2o_s_l=18 c_ml_cmh2o=60", f"{SUPPORT} {BREATHES} pmus_cmh2o=6 end_flow=0.06", 900),
    "trigger_delay": passive_first("", f"{SUPPORT} {BREATHES} pmus_cmh2o=9 trigger=pressure trig_p_cmh2o=3.5 bias_l_s=0 effort_shape=ramp "
                                   "effort_rise_s=0.8 effort_relax_s=0.1", 900),
    "insufficient_flow": passive_first("tif_s=1.1", f"rate_per_min=8 {BREATHES} pmus_cmh2o=12 effort_rise_s=1", 900),
    "pressure_overshoot": head(600) + "0 set mode=pc ti_s=1.2 dp_cmh2o=15 rate_per_min=14 servo_damping=0.4 rise_tau_s=0 relief_cmh2o=20 "
                                      "servo_rad_s=25 ri_cmh2o_s_l=25 servo_r=0.3\n",
    "incomplete_exhalation": head(600) + f"0 set mode=vc rate_per_min=20 vt_ml=500 {OBSTRUCTED}\n",
    "flow_limitation": head(600) + "0 set mode=vc rate_per_min=14 vt_ml=500 c_ml_cmh2o=60 efl_s=2 efl_ml=250 airway_ml_cmh2o=1.2\n",
    "expiratory_effort": passive_first("", f"{SUPPORT} {BREATHES} pmus_cmh2o=7 push_cmh2o=8 push_from=0.4 push_to=0.9", 900),
}

# Nothing to find: efforts of ordinary size, answered at once, with the inflation's end at theirs.
SYNCHRONOUS = passive_first("", f"{SUPPORT} {BREATHES} pmus_cmh2o=6 effort_rise_s=0.8 trig_flow_l_s=0.02 end_flow=0.5", 3600)

# Nobody breathes: heart, secretions and a leak that is allowed for, which is what looks like efforts. 20 minutes each.
LOOKALIKES = "heart_l_s=0.05 heart_third=0.3 secretions=0.2 leak_k=0.008 slow_noise_p=0.1 slow_noise_q=0.004"
PASSIVE = {
    "volume": head(1200) + f"0 set mode=vc rate_per_min=14 vt_ml=450 {LOOKALIKES}\n",
    "pressure": head(1200) + f"0 set mode=pc rate_per_min=16 dp_cmh2o=14 {LOOKALIKES}\n",
    "obstructed": head(1200) + f"0 set mode=vc rate_per_min=12 vt_ml=500 {OBSTRUCTED} {LOOKALIKES}\n",
    "stiff": head(1200) + f"0 set mode=vc rate_per_min=24 vt_ml=380 peep_cmh2o=12 c_ml_cmh2o=25 {LOOKALIKES}\n",
}

# The same with more of all, and a lung that no straight line describes: what is flagged there today is false.
NOISIER = LOOKALIKES.replace("secretions=0.2", "secretions=0.4") + " noise_p=0.15 noise_q=0.008"
PASSIVE_HARD = {
    "volume, secretions": head(1200) + f"0 set mode=vc rate_per_min=14 vt_ml=450 {NOISIER}\n",
    "pressure, secretions": head(1200) + f"0 set mode=pc rate_per_min=16 dp_cmh2o=14 {NOISIER}\n",
    "flow-limited": head(1200) + "0 set mode=vc rate_per_min=14 vt_ml=500 c_ml_cmh2o=60 efl_s=2 efl_ml=250 airway_ml_cmh2o=1.2\n",
}
