package outlook

// The general coefficients, fitted by TestTrain of internal/flow/watch (build tag
// trials) on the evenings of simulated roofs that no test is judged by.
var (
	general = &model{
		centre: [features]float64{1, 0.2763, 0.1231, 1.003, -0.004541, 3.392, -0.04955, -0.04031, -0.0258, 0},
		scale:  [features]float64{0, 2.128, 0.9924, 1.681, 0.8597, 1.324, 2.672, 2.726, 1.116, 0},
		beta:   [features]float64{0.3839, 1.202, 0.1071, -0.2364, -0.405, -0.04381, -0.4426, 0.2196, -1.866, 0},
		stiff:  3,
	}
	withForecast = &model{
		centre: [features]float64{1, 0.2763, 0.1231, 1.003, -0.004541, 3.392, -0.04955, -0.04031, -0.0258, -3.032},
		scale:  [features]float64{0, 2.128, 0.9924, 1.681, 0.8597, 1.324, 2.672, 2.726, 1.116, 2.524},
		beta:   [features]float64{0.4423, 1.381, 0.1826, -0.4049, -0.3702, -0.167, -0.3808, 0.1296, -1.77, -0.8687},
		stiff:  3,
	}
)
