package outlook

var general = &model{stiff: 4}
var withForecast = &model{stiff: 4}
