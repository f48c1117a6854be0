package outlook

// The general coefficients, fitted by TestTrain of internal/flow/watch (build tag
// trials) on the evenings of simulated roofs that no test is judged by.
var (
	general = &model{
		centre: [features]float64{1, 0.1877, 0.08917, 1.003, -0.004387, 3.392, -0.05009, -0.04041, -0.02568, 0},
		scale:  [features]float64{0, 2.138, 0.996, 1.681, 0.8591, 1.324, 2.672, 2.726, 1.116, 0},
		beta:   [features]float64{0.2299, 1.231, 0.1022, -0.2457, -0.3897, -0.05465, -0.427, 0.1987, -1.836, 0},
		stiff:  3,
	}
	withForecast = &model{
		centre: [features]float64{1, 0.1877, 0.08917, 1.003, -0.004387, 3.392, -0.05009, -0.04041, -0.02568, -3.032},
		scale:  [features]float64{0, 2.138, 0.996, 1.681, 0.8591, 1.324, 2.672, 2.726, 1.116, 2.524},
		beta:   [features]float64{0.2743, 1.413, 0.1755, -0.4155, -0.3524, -0.1782, -0.3652, 0.1078, -1.742, -0.8727},
		stiff:  3,
	}
)
