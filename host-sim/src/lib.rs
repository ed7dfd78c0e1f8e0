//! The world around the controller: actuator, ring, stops, sensors, nozzle and air path.
