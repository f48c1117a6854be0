package roofsim

// Series lists every recorded course.
func (w *Winter) Series() []*[]float64 { return w.series() }

// InStillAir runs a world for four weeks in dry air of one temperature, below a
// sky as warm, with the heating off and nobody home, and returns what its nodes
// and its rooms come to.
func InStillAir(w World, outC float64) (nodesC []float64, indoorC float64) {
	x := newState(&w, 4000, 600)
	for k := range x.weather.tempC {
		x.weather.tempC[k], x.weather.skyC[k], x.weather.sunWM2[k] = outC, outC, 0
		x.weather.slopeSun[0][k], x.weather.slopeSun[1][k], x.weather.rainMM[k] = 0, 0, 0
		x.weather.vapourPa[k] = 500
		x.living.setC[k], x.living.gainsW[k], x.living.moistureKgS[k] = -50, 0, 0
	}
	for k := range 4000 {
		x.step(k, 600)
	}
	return x.t[:], x.indoorC
}
