#include "trimwright/plan.hpp"

namespace trimwright {

const std::vector<std::string>& cautions() {
  static const std::vector<std::string> all{
      "A running engine can kill: keep all people out of the intake, exhaust and rotor-burst zones.",
      "Weights, positions, torque, locking and limits come from the engine maker's current manual; if it "
      "says something else than this sheet, follow the manual.",
      "Follow local rules. Work on the engine and its release belong to licensed persons; this sheet only "
      "advises.",
      "Two people check the fitted slots against the list before every start, and count what is left over."};
  return all;
}

const std::vector<std::string>& signature_roles() {
  static const std::vector<std::string> all{"Fitted by", "Slots checked by (second person)", "Run made by",
                                            "Released by (licensed)"};
  return all;
}

}  // namespace trimwright
