package sensor_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
)

// Headers as phones, boards and spreadsheets write them. The row below each is 0, 1, 2, 3 …,
// so that what was taken for an axis shows its column; the time is the first named.
func TestHeaders(t *testing.T) {
	t.Parallel()
	for header, want := range map[string][]float64{
		"t_s,x_m/s2,y_m/s2,z_m/s2":                  {1, 2, 3},
		"t_s,x_m_s2":                                {1},
		"T [S],X [M/S^2],Y [M/S^2]":                 {1, 2},
		"time (ms),Accel X (m/s^2),Accel Y (m/s^2)": {1, 2},
		"Time (s),Acceleration x (m/s²),Absolute acceleration (m/s²)":                      {1},
		"timestamp_us,ax_m/s2,ay_m/s2,az_m/s2,gx_rad,gy_rad,gz_rad":                        {1, 2, 3},
		"time_ns,accelerometer.x (m/s2),accelerometer.y (m/s2)":                            {1, 2},
		"Timestamp (ns),accelerationX (m/s2),gravityX (m/s2),userAccelerationX (m/s2)":     {1},
		"elapsed [us],raw_acc_z [m/s2],raw_acc_y [m/s2],raw_acc_x [m/s2]":                  {3, 2, 1},
		"seconds_elapsed,X acceleration (m/s2),Y acceleration (m/s2)":                      {1, 2},
		"millis,accelX_m/s2,accelY_m/s2,accelZ_m/s2,temp":                                  {1, 2, 3},
		"ms,x-axis (m/s2),y-axis (m/s2)":                                                   {1, 2},
		"t/s,ax/(m/s²),ay/(m/s²)":                                                          {1, 2},
		"t(us),acc x(m s^-2),acc y(m s^-2)":                                                {1, 2},
		"µs,acc_x_m/s2":                                                                    nil,
		"t_µs,acc_x_m/s2":                                                                  {1},
		"time_s,linear_acceleration_x_m/s2,acceleration_x_m/s2,linear_acceleration_y_m/s2": {1, 3},
		"time_s,Acc X [m/s2],Acc Y [m/s2],Gyr X [deg/s],Mag X [uT]":                        {1, 2},
		"time_s,gyroX,magY,xyz":                                                            nil,
		"time_s,max,index,syntax":                                                          nil,
		"time_s,gx,gy,gz":                                                                  nil,
		"time_s,gravity x,gravity y":                                                       nil,
		"time_s,roll x,pitch y":                                                            nil,
		"temperature,x_g":                                                                  nil,
		"time_h,x_g":                                                                       nil,
		"runtime_s,x_g":                                                                    nil,
	} {
		t.Run(header, func(t *testing.T) {
			t.Parallel()
			n := strings.Count(header, ",") + 1
			cells := strings.Split("0,1,2,3,4,5,6,7,8,9", ",")[:n]
			cells[0] = "1"
			r, err := read(header+"\n"+strings.Join(cells, ",")+"\n", sensor.Options{})
			if want == nil {
				var wrong *sensor.ParseError
				require.ErrorAs(t, err, &wrong)
				return
			}
			require.NoError(t, err)
			var got []float64
			for _, a := range r.axes {
				got = append(got, a[0])
			}
			assert.Equal(t, want, got)
		})
	}
}
