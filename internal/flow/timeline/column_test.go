package timeline

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The short way of writing a figure writes what FormatFloat does, digit for digit.
func TestFiguresAreWrittenAsTheShortestOfSixDecimals(t *testing.T) {
	same := func(t require.TestingT, x float64) {
		want := math.Round(x*1e6) / 1e6
		if want == 0 {
			want = 0
		}
		require.Equal(t, strconv.FormatFloat(want, 'f', -1, 64), string(appendRounded(nil, x)), "%v", x)
	}
	for _, x := range []float64{0, math.Copysign(0, -1), 1, -1, 0.5, 1e-6, -1e-6, 4e-7, -4e-7, 5e-7, 999999.9999995,
		100, 0.1 + 0.2, 1e9, -1e9, 999999999.999999, 1e15, 1e300, -1e300, 123456.000001} {
		same(t, x)
	}
	rapid.Check(t, func(t *rapid.T) {
		same(t, rapid.Float64Range(-1200, 1200).Draw(t, "a figure"))
		same(t, float64(rapid.Int64Range(-1e15, 1e15).Draw(t, "millionths"))/1e6)
		same(t, rapid.Float64Range(-1e300, 1e300).Draw(t, "anything"))
	})
}

// filled gives every field of a value something to say, so that a field that is
// added and not written is found.
func filled(v reflect.Value, n int) {
	switch x := v.Addr().Interface().(type) {
	case *Column:
		*x = NewColumn(3)
		x.Set(0, float64(n)/7)
		x.Set(2, -float64(n))
		return
	case *time.Time:
		*x = time.Date(2026, 11, 25, 6, n%60, 0, n*1e6, time.UTC)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			filled(v.Field(i), n+i+1)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			filled(v.Index(i), n+i)
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		filled(v.Elem(), n)
	case reflect.String:
		v.SetString("<a> & \"b\" \u2028 " + strconv.Itoa(n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int64, reflect.Int:
		v.SetInt(int64(n))
	case reflect.Float64:
		v.SetFloat(float64(n) / 7)
	default:
		panic(v.Type())
	}
}

func TestAViewIsWrittenAsEncodingJSONWritesIt(t *testing.T) {
	var full, sparse View
	filled(reflect.ValueOf(&full).Elem(), 1)
	sparse = full
	sparse.StepS, sparse.Time, sparse.Events = nil, []time.Time{}, nil
	sparse.Surfaces[0].Note = ""
	for _, v := range []View{full, sparse, {}} {
		want, err := json.Marshal(v)
		require.NoError(t, err)
		got, err := v.AppendJSON(nil)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got))
	}
	full.From = time.Date(12_000, 1, 1, 0, 0, 0, 0, time.UTC)
	_, err := full.AppendJSON(nil)
	require.Error(t, err, "a time that cannot be written")
}

// What is asked for alone is what the whole answer holds of it, and no more.
func TestColumnsAskedForAreThoseOfTheWholeAnswer(t *testing.T) {
	var full View
	filled(reflect.ValueOf(&full).Elem(), 1)
	whole, err := full.AppendJSON(nil)
	require.NoError(t, err)
	all, err := ParseColumns(strings.Join(columnNames, ","))
	require.NoError(t, err)
	each, err := full.AppendColumns(nil, all)
	require.NoError(t, err)
	require.Equal(t, string(whole), string(each))

	for names, kept := range map[string]map[string][]string{
		"temp_c.mean,rh_pct.max": {"temp_c": {"mean"}, "rh_pct": {"max"}},
		"coverage":               {"coverage": nil},
		"margin_k.min,margin_k.max,frost_min,coverage": {"coverage": nil, "margin_k": {"min", "max"}, "frost_min": nil},
	} {
		var want map[string]any
		require.NoError(t, json.Unmarshal(whole, &want))
		for _, list := range []string{"positions", "surfaces"} {
			for _, one := range want[list].([]any) {
				one := one.(map[string]any)
				for key, value := range one {
					parts, ok := kept[key]
					switch band, isBand := value.(map[string]any); {
					case isBand && ok:
						for part := range band {
							if !slices.Contains(parts, part) {
								delete(band, part)
							}
						}
					case (isBand || slices.Contains(columnNames, key)) && !ok:
						delete(one, key)
					}
				}
			}
		}
		only, err := ParseColumns(names)
		require.NoError(t, err)
		text, err := full.AppendColumns(nil, only)
		require.NoError(t, err)
		var got map[string]any
		require.NoError(t, json.Unmarshal(text, &got), string(text))
		require.Equal(t, want, got, names)
	}
	for _, names := range []string{"temp_c", "mean", "temp_c.mean,", "temp_c.mean, rh_pct.mean"} {
		_, err := ParseColumns(names)
		require.ErrorContains(t, err, "there are temp_c.mean", names)
	}
}
