"""Names the command knows, offered as choices: channel plans, systems, units, rules. Pure Python."""

# Written down, since the plugin cannot import the tables; a test compares them with what the command knows.
CHANNEL_PLANS = (
    "us_6mhz",
    "europe_8mhz",
    "australia_7mhz",
    "brazil_6mhz",
    "japan_6mhz",
    "china_8mhz",
)
SYSTEMS = (
    "atsc1_8vsb", "dvbt_ge06_rpc1", "dvbt_ge06_rpc2", "dvbt_ge06_rpc3", "dvbt_qpsk_1_2", "dvbt_qpsk_2_3",
    "dvbt_qpsk_3_4", "dvbt_qpsk_5_6", "dvbt_qpsk_7_8", "dvbt_16qam_1_2", "dvbt_16qam_2_3",
    "dvbt_16qam_3_4", "dvbt_16qam_5_6", "dvbt_16qam_7_8", "dvbt_64qam_1_2", "dvbt_64qam_2_3",
    "dvbt_64qam_3_4", "dvbt_64qam_5_6", "dvbt_64qam_7_8", "dvbt2_qpsk_1_2", "dvbt2_qpsk_3_5",
    "dvbt2_qpsk_2_3", "dvbt2_qpsk_3_4", "dvbt2_qpsk_4_5", "dvbt2_qpsk_5_6", "dvbt2_16qam_1_2",
    "dvbt2_16qam_3_5", "dvbt2_16qam_2_3", "dvbt2_16qam_3_4", "dvbt2_16qam_4_5", "dvbt2_16qam_5_6",
    "dvbt2_64qam_1_2", "dvbt2_64qam_3_5", "dvbt2_64qam_2_3", "dvbt2_64qam_3_4", "dvbt2_64qam_4_5",
    "dvbt2_64qam_5_6", "dvbt2_256qam_1_2", "dvbt2_256qam_3_5", "dvbt2_256qam_2_3", "dvbt2_256qam_3_4",
    "dvbt2_256qam_4_5", "dvbt2_256qam_5_6", "isdbt_dqpsk_1_2", "isdbt_dqpsk_2_3", "isdbt_dqpsk_3_4",
    "isdbt_dqpsk_5_6", "isdbt_dqpsk_7_8", "isdbt_qpsk_1_2", "isdbt_qpsk_2_3", "isdbt_qpsk_3_4",
    "isdbt_qpsk_5_6", "isdbt_qpsk_7_8", "isdbt_16qam_1_2", "isdbt_16qam_2_3", "isdbt_16qam_3_4",
    "isdbt_16qam_5_6", "isdbt_16qam_7_8", "isdbt_64qam_1_2", "isdbt_64qam_2_3", "isdbt_64qam_3_4",
    "isdbt_64qam_5_6", "isdbt_64qam_7_8", "atsc3_qpsk_2_15", "atsc3_qpsk_3_15", "atsc3_qpsk_4_15",
    "atsc3_qpsk_5_15", "atsc3_qpsk_6_15", "atsc3_qpsk_7_15", "atsc3_qpsk_8_15", "atsc3_qpsk_9_15",
    "atsc3_qpsk_10_15", "atsc3_qpsk_11_15", "atsc3_qpsk_12_15", "atsc3_qpsk_13_15", "atsc3_16nuc_2_15",
    "atsc3_16nuc_3_15", "atsc3_16nuc_4_15", "atsc3_16nuc_5_15", "atsc3_16nuc_6_15", "atsc3_16nuc_7_15",
    "atsc3_16nuc_8_15", "atsc3_16nuc_9_15", "atsc3_16nuc_10_15", "atsc3_16nuc_11_15", "atsc3_16nuc_12_15",
    "atsc3_16nuc_13_15", "atsc3_64nuc_2_15", "atsc3_64nuc_3_15", "atsc3_64nuc_4_15", "atsc3_64nuc_5_15",
    "atsc3_64nuc_6_15", "atsc3_64nuc_7_15", "atsc3_64nuc_8_15", "atsc3_64nuc_9_15", "atsc3_64nuc_10_15",
    "atsc3_64nuc_11_15", "atsc3_64nuc_12_15", "atsc3_64nuc_13_15", "atsc3_256nuc_2_15",
    "atsc3_256nuc_3_15", "atsc3_256nuc_4_15", "atsc3_256nuc_5_15", "atsc3_256nuc_6_15",
    "atsc3_256nuc_7_15", "atsc3_256nuc_8_15", "atsc3_256nuc_9_15", "atsc3_256nuc_10_15",
    "atsc3_256nuc_11_15", "atsc3_256nuc_12_15", "atsc3_256nuc_13_15", "atsc3_1024nuc_2_15",
    "atsc3_1024nuc_3_15", "atsc3_1024nuc_4_15", "atsc3_1024nuc_5_15", "atsc3_1024nuc_6_15",
    "atsc3_1024nuc_7_15", "atsc3_1024nuc_8_15", "atsc3_1024nuc_9_15", "atsc3_1024nuc_10_15",
    "atsc3_1024nuc_11_15", "atsc3_1024nuc_12_15", "atsc3_1024nuc_13_15", "atsc3_4096nuc_2_15",
    "atsc3_4096nuc_3_15", "atsc3_4096nuc_4_15", "atsc3_4096nuc_5_15", "atsc3_4096nuc_6_15",
    "atsc3_4096nuc_7_15", "atsc3_4096nuc_8_15", "atsc3_4096nuc_9_15", "atsc3_4096nuc_10_15",
    "atsc3_4096nuc_11_15", "atsc3_4096nuc_12_15", "atsc3_4096nuc_13_15", "dtmb_4qam_0_4",
    "dtmb_16qam_0_4", "dtmb_64qam_0_4", "dtmb_4qam_0_6", "dtmb_16qam_0_6", "dtmb_64qam_0_6",
    "dtmb_4qam_nr_0_8", "dtmb_4qam_0_8", "dtmb_16qam_0_8", "dtmb_32qam_0_8", "dtmb_64qam_0_8",
)  # fmt: skip
ENVIRONMENTS = ("city", "residential", "rural", "quiet_rural")
TIME_RULES = {
    "us_90_10": "90 % of time wanted, 10 % interference",
    "gt_50_1": "50 % of time wanted, 1 % interference",
}
HEIGHT_UNITS = {"metres": "antenna_height_m", "feet": "antenna_height_ft"}
POWER_UNITS = {"kW ERP": "erp_kw", "W ERP": "erp_w", "kW EIRP": "eirp_kw", "dBk ERP": "erp_dbk"}
ELEVATION_UNITS = {
    "as the file says": None,
    "metres": "m",
    "feet": "ft",
    "decimetres": "dm",
    "centimetres": "cm",
}
