package carrier

// The texts of carrier.cir. Figures are data-sheet ones, from memory, unless
// something else is stated.

const spiceHead = `* The carrier of the adapter, revision B: every resistor, transistor, link, fuse and capacitor.
*
* Append a chip and an analysis to a deck that has, beside the subcircuit carrier:
*   an mcu_pin at each of its lines:         X1 PA4 rail 0 drive level read mcu_pin
*       drive 1 V: it drives, 0 V: it is an input; level 1 V: high, 0 V: low;
*       read: 1 V at or over VIH (0.6 of the rail), 0 V at or under VIL (0.3), 0.5 V between, where it may read either
*   an hc595_q at each register output:      X2 bias_L5 rail 0 enable level hc595_q
*   a converter_in at each converter input:  X3 sense_L9 rail 0 converter_in
*   a usb at the rail:                       X4 rail usb volts=5
* hc595_in is an input of a register with its thresholds, for those who want to look at edges.
* example.cir is such a deck, whole. Ground is node 0.
*
* corner: 0 typical, -1 weak outputs and switches, 1 strong ones. tol: resistors from -1 (lowest that the
* tolerance allows) to 1. The shift, store and serial lines are digital and not in here.
`

// The switches, at a corner. NMOS: 1/(kp (5 V - vto)) + rd is 0.45, 0.3, 0.2 Ω. PNP:
// gain 225 falls to 200 at 0.3 A, the least that the parts list asks for.
const spiceModels = `* logic-level NMOS: 0.45 ohm at 5 V weak, 0.3 typical, 0.2 strong; some 500 pF at 0 V; body diode
.model nmos_switch nmos(level=1 vto={corner<0 ? 2.5 : (corner>0 ? 1.3 : 2)} kp={corner<0 ? 1 : (corner>0 ? 1.8 : 1.333)}
+ rd=0.05 lambda=0 cbd=450p pb=0.8 mj=0.4 is=1e-12 cgso=5e-7 cgdo=5e-7)
* low-saturation PNP
.model pnp_switch pnp(is=2e-13 bf={corner<0 ? 225 : (corner>0 ? 500 : 300)} br=30 nf=1 vaf=40 ikf=3 re=0.05 rc=0.15 rb=5
+ cje=150p cjc=60p tf=1n)
.model led d(is=1e-18 n=1.9 rs=5)
.model shunt_reference d(is=1e-15 bv=2.5 ibv=1m rs=0.3)
`

const spiceDrivers = `
* A line of the microcontroller at 5 V: 25 ohm typical, 40 weak (4.2 V at 20 mA high), 18 strong; 1 uA at most leaks.
* What a high line gives comes from the rail.
.subckt mcu_pin pin vcc gnd drive level read params: corner=0
.param rout={corner<0 ? 40 : (corner>0 ? 18 : 25)}
Bhigh vcc pin I=V(drive)*V(level)*V(vcc,pin)/{rout}
Blow pin gnd I=V(drive)*(1-V(level))*V(pin,gnd)/{rout}
Bread read gnd V=V(pin,gnd)>=0.6*V(vcc,gnd) ? 1 : (V(pin,gnd)<=0.3*V(vcc,gnd) ? 0 : 0.5)
Rread read gnd 1meg
Rleak pin gnd 50meg
Dhigh pin vcc clamp
Dlow gnd pin clamp
Cpin pin gnd 10p
.model clamp d(is=1e-14 n=1.05 rs=15)
.ends mcu_pin

* An output of a 74HC595 at 4.5 to 5 V. Low: 30 ohm typical, 55 weak (0.33 V at 6 mA, 85 degrees); high: 35 typical,
* 110 weak (3.84 V at 6 mA, 85 degrees). Off: drive 0.
.subckt hc595_q pin vcc gnd drive level params: corner=0
.param rlow={corner<0 ? 55 : (corner>0 ? 18 : 30)}
.param rhigh={corner<0 ? 110 : (corner>0 ? 20 : 35)}
Bhigh vcc pin I=V(drive)*V(level)*V(vcc,pin)/{rhigh}
Blow pin gnd I=V(drive)*(1-V(level))*V(pin,gnd)/{rlow}
Rleak pin gnd 50meg
Dhigh pin vcc clamp
Dlow gnd pin clamp
Cpin pin gnd 7p
.model clamp d(is=1e-14 n=1.05 rs=10)
.ends hc595_q

* An input of a 74HC595: 0.3 and 0.7 of the rail.
.subckt hc595_in pin vcc gnd read
Bread read gnd V=V(pin,gnd)>=0.7*V(vcc,gnd) ? 1 : (V(pin,gnd)<=0.3*V(vcc,gnd) ? 0 : 0.5)
Rread read gnd 1meg
Rleak pin gnd 50meg
Dhigh pin vcc clamp
Dlow gnd pin clamp
Cpin pin gnd 5p
.model clamp d(is=1e-14 n=1.05 rs=20)
.ends hc595_in

* An input of an MCP3208 while it samples: 20 pF behind 1 kohm.
.subckt converter_in pin vcc gnd
Rsample pin held 1k
Csample held gnd 20p
Rleak pin gnd 1g
Dhigh pin vcc clamp
Dlow gnd pin clamp
Cpin pin gnd 7p
.model clamp d(is=1e-14 n=1.05 rs=50)
.ends converter_in

* A USB port with its cable and the board's own fuse, 0.6 ohm together, and 80 mA for the microcontroller's board.
.subckt usb rail params: volts=5 ohms=0.6 board=80m
Vport port 0 {volts}
Rcable port rail {ohms}
Iboard rail 0 {board}
.ends usb
`

const exampleChip = `* the chip: pull-up and pull-down of some 500 ohm, as the 4000 series has at 5 V, and the input's clamps
Mup L2 L1 R1 R1 up
Mdown L2 L1 L7 L7 down
Dup L1 R1 clamp
Ddown L7 L1 clamp
Cdie R1 L7 1n
.model up pmos(level=1 vto=-1.5 kp=600u)
.model down nmos(level=1 vto=1.5 kp=600u)
.model clamp d(is=1e-14 rs=100)
.op
.control
op
print v(R1) v(L7) v(L1) v(L2) v(read_PF1) v(rail)
quit
.endc
.end
`
