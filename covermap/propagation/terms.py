"""The intermediate values of P.1812: what each place of the kernel's terms array holds."""

TERM_NAMES = (
    "d_km",
    "dlt_km",
    "dlr_km",
    "theta_t_mrad",
    "theta_r_mrad",
    "theta_mrad",
    "hts_m",
    "hrs_m",
    "htc_m",
    "hrc_m",
    "omega",
    "dtm_km",
    "dlm_km",
    "phi_mid_deg",
    "beta0_pct",
    "ae_km",
    "hst_m_eq85",
    "hsr_m_eq86",
    "hst_m_eq90",
    "hsr_m_eq90",
    "hstd_m",
    "hsrd_m",
    "h_tesph_m",
    "h_resph_m",
    "hte_m",
    "hre_m",
    "hm_m",
    "Fi",
    "Fj",
    "Fk",
    "Lbfs_dB",
    "Lb0p_dB",
    "Lb0beta_dB",
    "Lbulla_beta0_dB",
    "Lbulls_beta0_dB",
    "Ldsph_beta0_dB",
    "Ld50_dB",
    "Ldbeta_dB",
    "Ldp_dB",
    "Lbd50_dB",
    "Lbd_dB",
    "Lminb0p_dB",
    "Lba_dB",
    "Lminbap_dB",
    "Lbda_dB",
    "Lbam_dB",
    "Lbs_dB",
    "Lbc_dB",
    "Lb_dB",
    "Ep_dBuVm_1kW",
)
"""Names and units of the terms, in the order in which the kernel writes them."""

TERM_COUNT = len(TERM_NAMES)

# Places that callers of the kernel read by name (a kernel cannot look a name up).
DISTANCE = TERM_NAMES.index("d_km")
DLT = TERM_NAMES.index("dlt_km")
DLR = TERM_NAMES.index("dlr_km")
THETA_T = TERM_NAMES.index("theta_t_mrad")
THETA_R = TERM_NAMES.index("theta_r_mrad")
THETA = TERM_NAMES.index("theta_mrad")
OMEGA = TERM_NAMES.index("omega")
BETA0 = TERM_NAMES.index("beta0_pct")
FREE_SPACE_LOSS = TERM_NAMES.index("Lbfs_dB")
LOSS_NO_DIFFRACTION = TERM_NAMES.index("Lb0p_dB")
DIFFRACTION_50 = TERM_NAMES.index("Ld50_dB")
LOSS_50_PERCENT_OF_LOCATIONS = TERM_NAMES.index("Lbc_dB")
LOSS = TERM_NAMES.index("Lb_dB")
FIELD = TERM_NAMES.index("Ep_dBuVm_1kW")
