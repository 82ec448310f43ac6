// A laptop's battery, charger and thermal zone for a virtual machine, as a secondary ACPI table.
// The byte at I/O port 0xE0 is the charger's plug. A word other than 0 at 0xE2 says what the pack holds now, in
// 10 mWh. Charge is integrated from the timer.
// Source of names and fields: ACPI Specification 6.5, 10.1 to 10.3 (battery, charger), 11.4 (thermal zone).
DefinitionBlock ("", "SSDT", 1, "RIG", "LAPTOP", 1)
{
    Scope (\_SB)
    {
        OperationRegion (HAND, SystemIO, 0xE0, 4)
        Field (HAND, ByteAcc, NoLock, Preserve)
        {
            PLUG, 8,
            , 8,
            HELD, 16
        }

        Name (FULL, 56400)   // mWh that the pack takes
        Name (GOIN, 65000)   // mW into it with the charger
        Name (GOUT, 9100)    // mW out of it without
        Name (ENGY, 0)       // mWh in it
        Name (REST, 0)       // mW x 0.1 s not yet in ENGY
        Name (SEEN, 0)       // the timer when last read, in 100 ns

        Method (PASS, 0, Serialized)
        {
            If (HELD)
            {
                ENGY = HELD * 10
                HELD = 0
                SEEN = Timer
            }
            // Integers have 32 bits here: the timer wraps after 429 s, its differences do not mind.
            Local0 = (Timer - SEEN) / 1000000
            SEEN += Local0 * 1000000
            If (PLUG)
            {
                If (ENGY < FULL)
                {
                    REST += Local0 * GOIN
                    ENGY += REST / 36000
                    REST = REST % 36000
                    If (ENGY >= FULL)
                    {
                        ENGY = FULL
                    }
                }
            }
            ElseIf (ENGY > 1000)
            {
                REST += Local0 * GOUT
                ENGY -= REST / 36000
                REST = REST % 36000
            }
        }

        Device (AC)
        {
            Name (_HID, "ACPI0003")
            Name (_PCL, Package () { \_SB })
            Method (_STA, 0) { Return (0x0F) }
            Method (_PSR, 0) { Return (PLUG) }
        }

        Device (BAT0)
        {
            Name (_HID, EisaId ("PNP0C0A"))
            Name (_UID, 0)
            Name (_PCL, Package () { \_SB })
            Method (_STA, 0) { Return (0x1F) }
            Name (_BIX, Package ()
            {
                0,       // revision
                0,       // unit: mWh, mW
                57000,   // as designed
                56400,   // when last full
                1,       // rechargeable
                15400,   // mV as designed
                2800,    // warning
                1400,    // low
                2,       // cycles
                95000,   // accuracy
                1000, 500, 10000, 1000,
                10, 10,  // granularity
                "RIG", "1", "LION", "RIG"
            })
            Method (_BST, 0, Serialized)
            {
                PASS ()
                Local0 = Package (4) { 0, 0, 0, 0 }
                If (PLUG)
                {
                    If (ENGY < FULL)
                    {
                        Local0 [0] = 2
                        Local0 [1] = GOIN
                    }
                }
                Else
                {
                    Local0 [0] = 1
                    Local0 [1] = GOUT
                }
                Local0 [2] = ENGY
                Local0 [3] = 14400 + ENGY / 24  // mV, four cells in series: 3.60 V empty, 4.19 V full
                Return (Local0)
            }
        }
    }

    Scope (\_TZ)
    {
        ThermalZone (TZ00)
        {
            Method (_TMP, 0) { Return (3182) }  // 45 degC, in 0.1 K
            Method (_CRT, 0) { Return (3732) }  // 100 degC
        }
    }
}
