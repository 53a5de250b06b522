"""The deciding half of Houseband: values in, values out; no I/O, no clock, no time zone."""
