# hardware-clock-set utc|local ZONE-FILE: the hardware clock gets the system's time. A machine without one is left alone.
verb_hardware_clock_set() {
    if [ ! -d /sys/class/rtc/rtc0 ]; then
        say '    This machine has no hardware clock.'
        return 0
    fi
    # hwclock(8) reckons local time by its own TZ, which on the medium is not the target's. The medium's own adjtime
    # stays as it is.
    if [ "$1" = local ]; then
        TZ=":$2" hwclock --systohc --localtime --noadjfile || return 1
    else
        hwclock --systohc --utc --noadjfile || return 1
    fi
}
