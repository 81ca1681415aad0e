package wind

import (
	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// GustRatio is the gust a forecast or a buoy reports over its mean at sea, from an hourly buoy record of two
// storms: the mean of gust over wind, each hour counting the same, and the least and greatest hour of it.
// The 85 hours are those with wind and gust present and a wind of 12 m/s or more (the greatest 18.8 m/s); a test
// counts them again where the record is at hand.
func GustRatio() constant.Coefficient {
	return constant.Coefficient{
		Band:   quantity.Band{Low: 1.141, Mid: 1.233, High: 1.313},
		Source: "recomputed from the hourly rows of U.S. National Data Buoy Center station 44005, 12-15 January and 7-9 November 2012, wind of 12 m/s or more",
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
