"""The English of the figures: what traces and axes are called, and what stands above them."""

#: The parts of a balance, by their fields.
BALANCE = {
    "pv_wh": "Panels",
    "load_wh": "Used",
    "battery_discharge_wh": "From battery",
    "battery_charge_wh": "To battery",
    "grid_import_wh": "Bought",
    "grid_export_wh": "Sold",
    "loss_wh": "Lost",
}
#: The parts of a month's bill, by their fields.
BILL = {"fixed": "Fee", "bought": "Bought", "sold": "Sold"}
PAID = "Paid"
#: Energy that was bought and sold, and that would have been.
PLANNED = {
    "bought": "Bought",
    "would_buy": "Would have bought",
    "sold": "Sold",
    "would_sell": "Would have sold",
}

#: The lines of a start, by what they are of.
START = {"load": "Whole load", "L1": "L1", "L2": "L2", "voltage": "Battery"}
START_LEGS = " (dashed L1, dotted L2)"
START_AXIS = "minutes from the start"
START_LOAD, START_VOLTAGE = "<b>Load</b>, W{legs}", "<b>Battery</b>, V"

DAY_EACH = "local time; each point is a reading"
DAY_THINNED = "local time; the least and the greatest reading of every {length}"
DAY_SOC = "<b>{device}</b>, its own state of charge"
GAP = "nothing measured"

GAVE_BACK = "Gave back"
MONTH_ENERGY = "<b>Energy</b>, kWh: from above the line, to below"
MONTH_ROUND_TRIP = "<b>Round trip</b> of the battery, with its 90 % interval"
ROUND_TRIP = "Round trip"

#: The bands of the fan, by the level that ends them.
FAN = {50: "50 of 100", 90: "10 and 90", 95: "5 and 95"}
FAN_POINT = "{date}<br>{below} of 100 lie below {share}"

NIGHT = "a night"
NIGHT_POINT = "Night of {date}<br>{ah} Ah ({interval})"
CYCLES = "Cycles"
CYCLES_BAR = "{depth}<br>{count} cycles"
DEPTH_AXIS = "depth up to, %"
