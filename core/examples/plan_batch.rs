//! Splits a batch of 640 rings into coils that fit a cradle of 70 mm:
//!
//!     cargo run -p turntally-core --example plan_batch

use std::error::Error;

use turntally_core::coil::{CoilModel, Winding};
use turntally_core::counter::{CountsPerTurn, Gear, Shaft};
use turntally_core::metal::{Metal, Temper};
use turntally_core::plan::BatchPlan;
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Length, Turns};

fn main() -> Result<(), Box<dyn Error>> {
    let (wire, mandrel): (Length, Length) = ("1.2mm".parse()?, "4.5mm".parse()?);
    let copper = Metal::named("copper").ok_or("not a listed metal")?;
    let spring = SpringRatio::estimate(copper.flow(Temper::Soft, wire)?, wire, mandrel)?;
    // Wound close, sawn by a blade that removes 0.4 mm; half a turn of bent lead-in is cut off.
    let winding = Winding::new(wire, mandrel, 0.0, "0.4mm".parse()?, spring)?;
    let model = CoilModel::new(&winding, Turns::from_nano(Turns::ONE / 2));
    let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::DIRECT).ok_or("1 to 100,000 pulses")?;
    let plan = BatchPlan::new(model, per_turn, "70mm".parse()?)?;

    let mut rings = 640;
    for coil in 1.. {
        let of_this = plan.next_rings(rings);
        let turns = plan.target_turns(of_this).as_f64();
        println!("coil {coil:2}: wind {turns:.2} turns for {of_this} guaranteed rings");
        rings -= of_this;
        if rings == 0 {
            break;
        }
    }
    Ok(())
}
