// A laptop whose battery can be changed while it runs, as a secondary ACPI table for a virtual machine.
//
// The latch at I/O port 0xE0 is read whenever the thermal zone is read. Byte 0 holds what hands do: 1 charger in,
// 2 pack out, 4 charging off, 8 a pack that dies below 30 %. Byte 1 names a figure of PACK, bytes 2 and 3 its new
// value; taking it clears byte 1. The pack: four cells in series behind 160 mOhm, charged by constant current, then
// constant voltage, until it holds all it can. Charge is integrated from the timer.
// Source of names and fields: ACPI Specification 6.5, 10.1 to 10.3 (battery, charger), 11.4 (thermal zone).
// Open-circuit volts of a cell between 3.0 and 4.2 V: Chen et al., J. Electrochem. Soc. 167 (2020) 080534, worked out
// with PyBaMM; the last one is where the charge ends, at a twentieth of an hour's rate.
DefinitionBlock ("", "SSDT", 1, "RIG", "BATTERY", 1)
{
    Scope (\_SB)
    {
        OperationRegion (HAND, SystemIO, 0xE0, 4)
        Field (HAND, ByteAcc, NoLock, Preserve)
        {
            DOES, 8,
            WHAT, 8,
            MUCH, 16
        }
        OperationRegion (CUTS, SystemIO, 0xF4, 4)
        Field (CUTS, DWordAcc, NoLock, Preserve)
        {
            DEAD, 32
        }

        Name (PACK, Package ()
        {
            0,
            3960,   // 1: mAh that it holds
            3960,   // 2: mAh as designed
            3960,   // 3: mAh when full, as its gauge has it
            0,      // 4: mAh in it now
            0,      // 5: unit, 0 mW and mWh, 1 mA and mAh
            0,      // 6: how it counts: 0 by its true level, 1 against what it has as full
            3500,   // 7: mA that the charger gives
            900,    // 8: 10 mW that the machine takes
            2       // 9: cycles
        })
        Name (OCVS, Package ()  // mV of a cell, from empty in steps of 5 %
        {
            3000, 3233, 3392, 3467, 3507, 3554, 3605, 3646, 3682, 3721, 3767,
            3812, 3852, 3904, 3957, 4002, 4048, 4083, 4097, 4125, 4192, 4192
        })
        Name (DONE, 0)   // what hands did, as last taken
        Name (CHRG, 0)   // 0.01 mAh in it
        Name (REST, 0)   // mA x 0.1 s not yet in CHRG
        Name (TOLD, 0)   // 0.01 mAh in it as a gauge has it that counts against a false full
        Name (FULL, 0)   // the charge has ended, the charger is still in
        Name (SEEN, 0)   // the timer when last read, in 100 ns

        Method (FIGS, 1)
        {
            Return (DerefOf (PACK [Arg0]))
        }

        Method (LEVL)  // 0.01 %
        {
            Local0 = CHRG * 100 / FIGS (1)
            If (Local0 > 10000)  // while it is being set up
            {
                Local0 = 10000
            }
            Return (Local0)
        }

        Method (OPEN)  // mV at rest
        {
            Local0 = LEVL ()
            Local1 = Local0 / 500
            Local2 = DerefOf (OCVS [Local1])
            Local3 = DerefOf (OCVS [Local1 + 1]) - Local2
            Return ((Local2 + Local3 * (Local0 % 500) / 500) * 4)
        }

        Method (GOIN)  // mA into it
        {
            If (!(DONE & 1) || (DONE & 4) || FULL)
            {
                Return (0)
            }
            Local0 = OPEN ()
            If (Local0 >= 16800)
            {
                Return (0)
            }
            Local1 = (16800 - Local0) * 1000 / 160
            If (Local1 > FIGS (7))
            {
                Local1 = FIGS (7)
            }
            Return (Local1)
        }

        Method (GOUT)  // mA out of it
        {
            If ((DONE & 1) || !CHRG)
            {
                Return (0)
            }
            Return (FIGS (8) * 10000 / OPEN ())
        }

        Method (PASS, 0, Serialized)
        {
            // Integers have 32 bits here: the timer wraps after 429 s, its differences do not mind.
            Local0 = (Timer - SEEN) / 1000000
            SEEN += Local0 * 1000000
            If (DONE & 2)
            {
                Return
            }
            While (Local0)
            {
                Local1 = Local0
                If (Local1 > 100)
                {
                    Local1 = 100
                }
                Local0 -= Local1
                Local2 = GOIN ()
                If (Local2)
                {
                    REST += Local1 * Local2
                    CHRG += REST / 360
                    TOLD += REST / 360
                    REST = REST % 360
                    If (CHRG >= FIGS (1) * 100)
                    {
                        CHRG = FIGS (1) * 100
                        TOLD = FIGS (3) * 100
                        FULL = 1
                    }
                    Continue
                }
                REST += Local1 * GOUT ()
                Local3 = REST / 360
                REST = REST % 360
                If (Local3 > CHRG)
                {
                    Local3 = CHRG
                }
                CHRG -= Local3
                If (Local3 > TOLD)
                {
                    Local3 = TOLD
                }
                TOLD -= Local3
            }
            If ((DONE & 8) && !(DONE & 1) && (LEVL () < 3000))
            {
                DEAD = 1
            }
        }

        Method (LOOK, 0, Serialized)  // take what the hands do
        {
            PASS ()
            If (WHAT)
            {
                PACK [WHAT] = MUCH
                If (WHAT == 4)
                {
                    CHRG = MUCH * 100
                    TOLD = CHRG * 100 / FIGS (1) * FIGS (3) / 100
                    FULL = 0
                }
                WHAT = 0
                Notify (BAT0, 0x81)
            }
            Local0 = DONE ^ DOES
            If (!Local0)
            {
                Return
            }
            DONE = DOES
            If (Local0 & 1)
            {
                FULL = 0
                If ((DONE & 1) && (CHRG >= FIGS (1) * 100))
                {
                    FULL = 1
                }
                Notify (AC, 0x80)
            }
            If (Local0 & 2)
            {
                Notify (BAT0, 0x81)
            }
            Else
            {
                Notify (BAT0, 0x80)
            }
        }

        Device (AC)
        {
            Name (_HID, "ACPI0003")
            Name (_PCL, Package () { \_SB })
            Method (_STA, 0) { Return (0x0F) }
            Method (_PSR, 0) { Return (DONE & 1) }
        }

        Device (BAT0)
        {
            Name (_HID, EisaId ("PNP0C0A"))
            Name (_UID, 0)
            Name (_PCL, Package () { \_SB })
            Method (_STA, 0)
            {
                If (DONE & 2)
                {
                    Return (0x0F)
                }
                Return (0x1F)
            }
            Method (UNIT, 1)  // mAh or mA, in its unit
            {
                If (FIGS (5))
                {
                    Return (Arg0)
                }
                Return (Arg0 * 144 / 10)
            }
            Name (BIXS, Package ()
            {
                0,       // revision
                0,       // unit
                0,       // as designed
                0,       // when last full
                1,       // rechargeable
                14400,   // mV as designed
                0, 0,    // warning, low
                0,       // cycles
                95000,   // accuracy
                1000, 500, 10000, 1000,
                10, 10,  // granularity
                "RIG", "1", "LION", "RIG"
            })
            Method (_BIX, 0, Serialized)
            {
                BIXS [1] = FIGS (5)
                BIXS [2] = UNIT (FIGS (2))
                BIXS [3] = UNIT (FIGS (3))
                BIXS [6] = UNIT (FIGS (2) / 20)
                BIXS [7] = UNIT (FIGS (2) / 40)
                BIXS [8] = FIGS (9)
                Return (BIXS)
            }
            Method (_BST, 0, Serialized)
            {
                PASS ()
                Local0 = Package (4) { 0, 0, 0, 0 }
                Local1 = GOIN ()
                Local2 = GOUT ()
                Local3 = OPEN () + Local1 * 160 / 1000 - Local2 * 160 / 1000
                If (Local1)
                {
                    Local0 [0] = 2
                }
                ElseIf (Local2)
                {
                    Local0 [0] = 1
                }
                Local4 = Local1 + Local2
                If (!FIGS (5))
                {
                    Local4 = Local4 * Local3 / 1000
                }
                Local0 [1] = Local4
                If (FULL)
                {
                    Local5 = UNIT (FIGS (3))
                }
                ElseIf (FIGS (6))
                {
                    Local5 = UNIT (TOLD / 10) / 10
                }
                Else
                {
                    Local5 = LEVL () * UNIT (FIGS (3)) / 10000
                }
                Local0 [2] = Local5
                Local0 [3] = Local3
                Return (Local0)
            }
        }
    }

    Scope (\_TZ)
    {
        ThermalZone (TZ00)
        {
            Method (_TMP, 0, Serialized)
            {
                \_SB.LOOK ()
                Return (3182)  // 45 degC, in 0.1 K
            }
            Method (_CRT, 0) { Return (3732) }  // 100 degC
        }
    }
}
