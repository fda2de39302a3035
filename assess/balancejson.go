package assess

import "math"

// MarshalJSON writes the mass to 0.01 g. An angle of 0 is a place and stays 0; a mass of 0
// is none, and null.
func (m Mass) MarshalJSON() ([]byte, error) {
	if !(m.Grams > 0) {
		return []byte("null"), nil
	}
	return jsonObject(field{"mass_g", known(m.Grams, 2)}, field{"radius_mm", known(float64(m.Radius), 1)}, field{"angle_deg", hundredths(m.Angle)})
}

// MarshalJSON writes the answer to 0.01 degree and 0.01 g·mm.
func (a Answer) MarshalJSON() ([]byte, error) {
	return jsonObject(field{"heavy_deg", hundredths(a.Heavy)}, field{"within_deg", known(a.Within, 2)}, field{"clock", ClockPosition(a.Heavy)},
		field{"imbalance_g_mm", known(a.Imbalance, 2)}, field{"low_g_mm", known(a.Edges[0], 2)}, field{"high_g_mm", known(a.Edges[1], 2)},
		field{"share", known(a.Share, 3)})
}

func hundredths(v float64) float64 { return math.Round(v*100) / 100 }

// MarshalJSON writes null for what is not known: all but answers, consistency, residual,
// next, faults and warnings while there is no answer to act on.
func (b HeavySide) MarshalJSON() ([]byte, error) {
	var heavy, within, clock any
	if b.Known {
		heavy, within, clock = hundredths(b.Heavy), known(b.Within, 2), ClockPosition(b.Heavy)
	}
	return jsonObject(
		field{"heavy_deg", heavy}, field{"within_deg", within}, field{"clock", clock},
		field{"imbalance_g_mm", known(b.Imbalance, 2)}, field{"low_g_mm", known(b.Edges[0], 2)}, field{"high_g_mm", known(b.Edges[1], 2)},
		field{"shift_mm", known(b.Shift, 4)}, field{"fix", b.Fix}, field{"take_off", b.Take}, field{"take_off_cm3", known(b.Chips, 1)},
		field{"residual", known(b.Residual, 4)}, field{"consistency", known(b.Consistency, 4)},
		field{"speed_rpm", b.Speed}, field{"before_mm_s", known(b.Before, 4)},
		field{"after_mm_s", known(b.After, 4)}, field{"after_high_mm_s", known(b.High, 4)}, field{"checked_mm_s", known(b.Checked, 4)}, field{"allows_rpm", b.Allows},
		field{"grade_mm_s", known(b.Grade, 2)}, field{"grade_after_mm_s", known(b.GradeAfter, 2)},
		field{"answers", append([]Answer{}, b.Answers...)}, field{"next", b.Next},
		field{"faults", append([]BalanceFault{}, b.Faults...)}, field{"warnings", append([]string{}, b.Warnings...)})
}
