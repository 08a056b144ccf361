"""Why did it move? What a change of a share or of a mix is made of."""
