#!/bin/sh
# The first process of the virtual machine: brings up the devices and the state disk, then what is to be run.
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
for module in $(cat /modules/order); do insmod "/modules/$module"; done
kind=$(sed 's/.*rig_disk=\([a-z0-9]*\).*/\1/' /proc/cmdline)
case $kind in
    # As desktops mount a stick.
    vfat) options=utf8=1,shortname=mixed,flush ;;
    *) options=defaults ;;
esac
case " $(cat /proc/cmdline) " in
    # Nothing is written but what the run itself brings out.
    *" rig_alone=1 "*) echo 0 > /proc/sys/vm/dirty_writeback_centisecs ;;
esac
stick=$(cat /rig/stick)
mkdir -p "$stick"
mount -t "$kind" -o "$options" /dev/vda "$stick" || echo "The disk cannot be mounted."
/python/bin/python3 -S -B -m "tests.rig.$(cat /rig/run)" "$stick"
umount "$stick"
poweroff -f
