// Package pipeline is the order of stages and what lies around them. A job goes
// through:
//
//  1. job.Read: job, bench and parts files to declarations (positioned errors); the log
//     begins with them and where they stand
//  2. ingest, a recording at a time, several at once: bytes to samples, segments, runs
//  3. drag, a rotor at a time: settled speeds to a load curve
//  4. torque: evidence of each recording, then the choice of lag and sources for the job
//  5. fit, a recording at a time: runs to inertias
//  6. subtract: runs to rotors, rotors to parts, one adjustment a job
//  7. crosscheck: comparisons, and which numbers are fit for release
//     respond, where the job asks for it: times of spin-up and run-down
//  8. trace: the points that pages draw
//  9. tables, pages, log and summary written by one Output, each file whole, the log last;
//     it ends with the tables' hashes
//  10. across jobs: one part measured by several, models over specimens, benches' control charts
//
// Apart from a run: ledger (release, withdraw) and drift read what runs wrote.
//
// Every stage goes through a memo (do): what the job's log remembers is not computed
// again. Above that Run looks at receipts: a job whose files all stand as they stood is not even read.
//
// Results of parallel work go to numbered slots and are reduced in input order, so
// that the number of workers changes nothing.
package pipeline
